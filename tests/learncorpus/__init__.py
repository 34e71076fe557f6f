"""A corpus of invented layouts for `learn`: each sends frames for what is shown. No real instrument is copied.

`generated` composes framing, sign, padding, decimals, units, status, checks, chatter and lines at random from a fixed
seed; `fixed` holds layouts written by hand for what composition doesn't reach; `wide` is a second corpus of what neither
has. Even numbers are for development, odd
ones are the frozen test half.
"""

from . import generated, wide
from .model import Case, Instrument, Said, corpus, outcome, wide_corpus

__all__ = ["Case", "Instrument", "Said", "corpus", "generated", "outcome", "wide", "wide_corpus"]

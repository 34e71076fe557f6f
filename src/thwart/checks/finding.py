"""What a check says. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from .flags import Verdict


@dataclass(frozen=True, slots=True)
class Finding:
    """What is thought of one measurand (or of the species), why, and whether to ask.

    `cause` is a code of `words.CAUSES`; `probability` that of the cause among all explanations compared (1 for limits);
    `runner_up` the next one; `tail` the share of sound fish that lie as far out (1 where nothing statistical was
    tested); `sound` the probability that all is as measured; `pair` the measurands whose relation was looked at. Numbers
    have six significant digits.
    """

    measurand: str
    verdict: Verdict
    cause: str
    arguments: dict[str, str]
    probability: float
    runner_up: str
    runner_up_probability: float
    advice: str
    text: str
    asks: bool
    tail: float = 1.0
    sound: float = 0.0
    pair: tuple[str, ...] = ()
    told: Mapping[str, str] = field(default_factory=dict)
    """What the text was made of beside cause and arguments, for other languages: `found` and `sure` are codes of the
    language files' table `findings`, `likely` a cause with its arguments as `likely_…`."""

"""What holds for every test."""

from __future__ import annotations

import signal

from hypothesis import settings

# A run in the background of a shell is started with Ctrl-C ignored, and what it starts inherits that: the tests of Ctrl-C
# would then wait for ever.
signal.signal(signal.SIGINT, signal.default_int_handler)

# The same examples in every run, so that a red test speaks of the change at hand; `--hypothesis-profile=hunt` draws new ones.
settings.register_profile("same", derandomize=True, deadline=None, database=None)
settings.register_profile("hunt", deadline=None, print_blob=True)
settings.load_profile("same")

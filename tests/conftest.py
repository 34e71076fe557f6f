"""What holds for every test."""

from __future__ import annotations

import signal

# A run in the background of a shell is started with Ctrl-C ignored, and what it starts inherits that: the tests of Ctrl-C
# would then wait for ever.
signal.signal(signal.SIGINT, signal.default_int_handler)

"""Room `announce`: what is said of committed entries, and who hears it. Decides nothing; is given nothing uncommitted.

The one exception is "fault: not saved", which the watch says while a commit is held up.
"""

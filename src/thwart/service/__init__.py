"""The service: wires the rooms together; owns the clock, the ids and the threads. Holds no domain rules.

Threads: one per port (reads, frames, decodes, settles, puts inputs in the one queue), the clerk (the only one that
decides and writes), one per control connection, and a watch that says aloud when the clerk is held up.
"""

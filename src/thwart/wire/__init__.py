"""Room `wire`: bytes → frames (framer) → what each says (decoder) → arrivals, settled loads, emptyings (settler).

Sans-I/O: may not do I/O, read a clock or use randomness. Time comes in with the bytes, in monotonic nanoseconds, and
`next_wake` says when the room must next be called. Any bytes in any chunking give documented events and nothing else.
"""

"""Room `bench`: places, specimens, flows, acts, filling, doubled and stale rules; state machines written as tables.

It takes recorded inputs one by one and gives decisions; all its state is built by applying them. It may not do I/O or
read a clock: times and new ids come with the inputs, the past through `Records`.
"""

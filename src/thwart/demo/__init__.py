"""The demo: a short lake survey, invented, played by simulated hands on simulated instruments through the real service.

The simulator keeps its own truth and shares no rule with the bench; the service runs as a process of its own and knows
nothing of being in a demo.
"""

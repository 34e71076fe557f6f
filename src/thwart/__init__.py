"""`thwart`: the clerk of a fish-sampling bench.

One direction, no back edges: ports → wire → bench (→ checks) → ledger → announce. Each room's own docstring says what
it holds and what it may not touch; the map stands in `DEVELOPERS.md`.
"""

__version__ = "0.1.0"

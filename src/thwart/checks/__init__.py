"""The statistics behind the bench: species models, relations, likely causes, verdicts, sequence tests.

Everything here is a pure function from (what this specimen has, what the bench has seen, the species models) to
findings, or a left fold over fish. Lengths are in mm, masses in g. The room changes no value, and may not do I/O, read
a clock or use randomness; its live part is plain Python (no numpy, scipy or pandas), because it runs in the service.
Only `fit` imports numpy, inside its functions. `docs/checks.md` says what each check does and where it can't work.
"""

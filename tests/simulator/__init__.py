"""A simulated bench with its own truth: fish, people, pans and instruments, written apart from the program's rules.

Only the outside of the program is used: bytes go into its lines, its decisions come back as what people see and hear.
What really happened is written down here, and compared with the ledger's objects afterwards.
"""

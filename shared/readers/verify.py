"""Check a ledger's hash chain without the program that wrote it: python verify.py ledger.db"""

import hashlib
import sqlite3
import sys
from pathlib import Path

db = sqlite3.connect(f"{Path(sys.argv[1]).resolve().as_uri()}?mode=ro", uri=True)
expected, before = 1, bytes(32)
for seq, data, stored in db.execute("SELECT seq, data, hash FROM entry ORDER BY seq"):
    if seq != expected:
        sys.exit(f"entry {expected} is absent")
    before = hashlib.sha256(before + data.encode("utf-8")).digest()
    if before != stored:
        sys.exit(f"entry {seq} doesn't fit its hash")
    expected += 1
print(f"{expected - 1} entries, whole; the last one's hash is {before.hex()}")

"""Print changes as they come, until interrupted: python follow.py ledger.db [AFTER_SEQ]"""

import sqlite3
import sys
import time
from pathlib import Path

db = sqlite3.connect(f"{Path(sys.argv[1]).resolve().as_uri()}?mode=ro", uri=True)
seen = int(sys.argv[2]) if len(sys.argv) > 2 else 0
while True:
    # fetchall ends the query: one left open would keep the writer's log from being emptied.
    rows = db.execute("SELECT seq, kind, specimen_id FROM changes WHERE seq > ? ORDER BY seq", (seen,)).fetchall()
    for row in rows:
        print(*row, flush=True)
        seen = row[0]
    time.sleep(0.5)

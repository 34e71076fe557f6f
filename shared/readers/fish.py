"""Print the fish of a ledger as a table, with pandas: python fish.py ledger.db"""

import sqlite3
import sys
from contextlib import closing
from pathlib import Path

import pandas as pd

FISH = """
SELECT * FROM specimens WHERE "end" IS NULL OR "end" NOT IN ('void', 'same-as') ORDER BY number
"""

uri = f"{Path(sys.argv[1]).resolve().as_uri()}?mode=ro"
with closing(sqlite3.connect(uri, uri=True)) as db:
    fish = pd.read_sql(FISH, db, parse_dates=["opened_utc", "closed_utc"])
print(fish.drop(columns=["specimen_id", "missing"]).to_string(index=False))

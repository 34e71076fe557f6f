#!/bin/sh
# The fish of a ledger as CSV, with the sqlite3 program: sh fish.sh ledger.db > fish.csv
exec sqlite3 -readonly -csv -header "$1" \
  "SELECT * FROM specimens WHERE \"end\" IS NULL OR \"end\" NOT IN ('void', 'same-as') ORDER BY number"

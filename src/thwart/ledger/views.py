"""The views other programs read. Their names and columns are a contract, told column by column in shared/database.md.

Practice doesn't appear. Values stand as numbers here (REAL) and as the text that came in the `raw_` columns.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

#: Within a version columns are only added; shared/contract.json says what each of them is.
CONTRACT_VERSION: Final = 1


def _real(table: str, name: str) -> str:
    return f"CAST({table}.{name} AS REAL) AS {name}"


#: The specimen may be gone (its opening was taken back), so each row knows itself whether it was practice.
_SOUND = "LEFT JOIN specimen s ON s.specimen_id = {0}.specimen_id WHERE {0}.practice IS NOT 1"

FIXED: Final[dict[str, str]] = {
    "about": f"""SELECT {CONTRACT_VERSION} AS contract_version, bench_name AS bench, bench_id FROM identity""",
    "measurements": f"""SELECT m.seq, m.specimen_id, s.number, m.measurand, m.side, m.replicate,
  {_real("m", "value")}, m.unit, m.raw_value, m.raw_unit, {_real("m", "rounded_value")},
  m.status, m.verdict, m.cause, m.place, m.instrument, m.how, m.measurer, m.recorder,
  {_real("m", "zero_before")}, {_real("m", "zero_after")}, m.taken_utc, m.supersedes, m.reading_seq
FROM measurement m {_SOUND.format("m")}""",
    "readings": f"""SELECT r.seq, r.instrument, r.place, r.raw, r.value, r.unit, {_real("r", "base_value")},
  r.condition, r.settled, {_real("r", "spread")}, r.samples, {_real("r", "zero_before")}, r.plateau,
  r.arrived_utc, r.done_utc, r.arrived_after_seq, r.outcome, r.why, r.specimen_id
FROM reading r WHERE r.practice IS NOT 1""",
    "codes": f"""SELECT c.seq, c.specimen_id, s.number, c.field, c.scale, c.code, c.missing_reason, c.who, c.at_utc,
  c.supersedes, c.status
FROM coded c {_SOUND.format("c")}""",
    "containers": """SELECT c.number, c.specimen_id, c.structure, c.taken, c.side, c.condition, c.kind, c.dried,
  c.state, c.at_utc
FROM container c WHERE c.practice IS NOT 1""",
    "batches": f"""SELECT b.batch, b.parent, b.kind,
  CASE WHEN b.opened_utc IS NULL THEN 'planned' WHEN b.closed_utc IS NULL THEN 'open' ELSE 'closed' END AS state,
  b.opened_utc, b.closed_utc, b.species,
  {_real("b", "total_mass_g")}, {_real("b", "sub_mass_g")}, b.counted, b.measured, b.selection, b.preservation,
  b.presentation, b.end_reason
FROM batch b WHERE b.practice = 0""",
    # The bench counts by place; the place is no part of a class.
    "tallies": """SELECT t.batch, t.species, t.sex, t.measurand, CAST(t.class_mm AS REAL) AS class_mm, sum(t.n) AS n
FROM tally t WHERE t.practice = 0 AND t.n > 0
GROUP BY t.batch, t.species, t.sex, t.measurand, CAST(t.class_mm AS REAL)""",
    "pools": f"""SELECT p.seq, p.batch, p.place, p.species, p.n, p.measurand, {_real("p", "value")}, p.unit, p.raw_value,
  p.raw_unit, p.status, p.at_utc, p.reading_seq
FROM pool p WHERE p.practice = 0""",
    "findings": f"""SELECT q.seq, q.specimen_id, q.measurand, q.verdict, q.kind AS cause, {_real("q", "probability")},
  q.runner_up, q.text, q.asked, q.answered_by, q.state, q.place, q.about
FROM question q WHERE q.practice IS NOT 1""",
    # Without the unary plus the column's affinity keeps the index of undone inputs from being used.
    "mends": """SELECT e.seq, e.specimen_id, json_extract(e.data, '$.body.measurand') AS measurand,
  json_extract(e.data, '$.body.old_value') AS old_value, json_extract(e.data, '$.body.new_value') AS new_value,
  json_extract(e.data, '$.body.who') AS who, json_extract(e.data, '$.body.why') AS why,
  json_extract(e.data, '$.body.evidence') AS evidence, json_extract(e.data, '$.at') AS at_utc,
  (SELECT max(u.seq) FROM entry u WHERE u.kind = 'undone' AND json_extract(u.data, '$.body.of') = +e.input_seq
    AND NOT EXISTS (SELECT 1 FROM entry r WHERE r.kind = 'undone' AND json_extract(r.data, '$.body.of') = +u.input_seq)
  ) AS undone_by
FROM entry e LEFT JOIN specimen s ON s.specimen_id = e.specimen_id
WHERE e.kind = 'mend' AND s.practice IS NOT 1""",
    "printed": """SELECT e.seq, json_extract(e.data, '$.body.first') AS first_label, json_extract(e.data, '$.body.last') AS last_label,
  json_extract(e.data, '$.body.n') AS n, json_extract(e.data, '$.body.kind') AS kind,
  json_extract(e.data, '$.body.again') AS again, json_extract(e.data, '$.at') AS at_utc
FROM entry e WHERE e.kind = 'printed'""",
    "instruments": """SELECT i.instrument, i.profile, i.port, i.present, p.last_frame_utc, i.last_verified_utc,
  i.verified
FROM instrument i LEFT JOIN presence p ON p.instrument = i.instrument""",
    "changes": """SELECT seq, kind, specimen_id, json_extract(data, '$.at') AS at_utc FROM entry""",
}

NAMES: Final = ("specimens", *FIXED)


def column_name(measurand: str, unit: str) -> str:
    """The column of a measurand key in `specimens`: (`gonad_mass.left`, `g`) → `gonad_mass_left_g`."""
    return re.sub(r"[^a-z0-9]+", "_", f"{measurand}_{unit}".lower()).strip("_")


def specimens(measurands: Iterable[tuple[str, str]]) -> str:
    """The body of the `specimens` view with a column per measurand key and unit, in the order given."""
    made = ""
    for key, unit in measurands:
        path = "$." + '"' + key.replace("'", "''") + '"'
        made += (
            f",\n  (SELECT CAST(m.value AS REAL) FROM measurement m WHERE m.seq = json_extract(s.\"values\", '{path}'))"
            f' AS "{column_name(key, unit)}"'
        )
    return f"""SELECT s.specimen_id, s.number, s.batch, s.species, s.state, s."end", s.opened_utc, s.closed_utc,
  (SELECT group_concat(value, ', ') FROM json_each(s.containers)) AS containers, s.worst_verdict, s.place, s.same_as,
  s.missing, s.structures{made}
FROM specimen s WHERE s.practice = 0"""


def statements(measurands: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Name → CREATE VIEW of every view."""
    bodies = {"specimens": specimens(measurands), **FIXED}
    return {name: f"CREATE VIEW {name} AS\n{bodies[name]}" for name in NAMES}

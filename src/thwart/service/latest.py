"""What came last at a place, whatever became of it: the number somebody at the bench has just made. Reads memory only."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from .. import units
from ..bench.kernel import Bench
from ..bench.state import Measurement, Reading
from ..bench.tally import counted
from .memory import Memory


def latest(bench: Bench, memory: Memory, place: str) -> dict[str, Any] | None:
    """The last reading, or entry by hand, at a place; None where nothing is remembered.

    `what` is the outcome of a reading (`taken`, `loose` …), or `withdrawn` where it was taken back.
    """
    readings = (r for r in memory.readings if _here(bench, r, place))
    reading = max(readings, key=lambda r: r.seq, default=None)
    entries = (m for m in memory.measurements if m.place == place and m.reading_seq is None)
    by_hand = max(entries, key=lambda m: m.seq, default=None)
    if by_hand is not None and (reading is None or by_hand.seq > reading.seq):
        return _measured(by_hand, by_hand.raw_value, by_hand.raw_unit)
    if reading is None:
        return None
    shown = reading.value if reading.value is not None else reading.condition
    if reading.outcome in ("taken", "superseded") and reading.measurement_seq is not None:
        measured = bench.get(Measurement, reading.measurement_seq)
        if measured is not None:
            return _measured(measured, shown, reading.unit or "")
    return {
        "seq": reading.seq, "value": shown, "unit": reading.unit or "", "what": reading.outcome, "why": reading.why,
        "measurand": None, "number": None, "how": "instrument", "questioned": False, "instrument": reading.instrument,
        **(_lumped(bench, memory, reading) if reading.outcome == "taken" else {}),
    }  # fmt: skip


def _here(bench: Bench, reading: Reading, place: str) -> bool:
    """Whether a reading is of this place; one that no place could claim is of each its instrument serves."""
    if reading.place is not None or reading.outcome != "loose":
        return reading.place == place
    setup = bench.setup.instruments.get(reading.instrument)
    return setup is not None and place in setup.places


def _measured(m: Measurement, value: str, unit: str) -> dict[str, Any]:
    withdrawn = m.status == "withdrawn"
    return {
        "seq": m.seq, "value": value, "unit": unit, "what": "withdrawn" if withdrawn else "taken", "why": None,
        "measurand": m.key, "number": m.number, "how": m.how, "questioned": m.status == "questioned",
        "instrument": m.instrument,
    }  # fmt: skip


def _lumped(bench: Bench, memory: Memory, reading: Reading) -> dict[str, Any]:
    """The class a reading was counted in, or the number of animals it weighed together."""
    protocol = bench.setup.protocol
    if protocol.flow == "tally":
        rounding = counted(bench).rounding
        assert rounding is not None
        size = units.rounded(Decimal(reading.base_value or "0"), rounding.step_base, rounding.rule)
        return {"measurand": protocol.tally, "class_mm": units.plain(size)}
    pool = next((p for p in memory.pools if p.reading_seq == reading.seq), None)
    return {} if pool is None else {"measurand": pool.measurand, "animals": pool.n}

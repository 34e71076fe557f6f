"""What the bench must know of its places and instruments: plain data, recorded whole at each start. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Literal

from msgspec import Struct

from .protocol import Protocol

#: Two prints of one instrument nearer than this, and within one division, are one touch; two presses at one place, one.
DEAD_TIME_NS = 250_000_000
#: So many touches within so long look like hosing.
HOSING_TOUCHES = 3
HOSING_NS = 2_000_000_000
#: How long a destructive act said once waits to be said again.
ARMED_NS = 15_000_000_000


class InstrumentSetup(Struct, frozen=True):
    """An instrument of the bench. `division`, `minimum` and `maximum` are in the base unit of its quantity."""

    name: str
    profile: str
    port: str
    kind: Literal["length", "mass", "identifier", "key", "lamp"]
    emptied: Literal["stream", "each", "none"]
    places: tuple[str, ...]
    serves: tuple[str, ...] | None = None
    """Names of the measurands it serves; None: all of its quantity."""
    division: Decimal | None = None
    minimum: Decimal | None = None
    maximum: Decimal | None = None
    keys: Mapping[str, str] = {}
    """What a key sends → the words of an act."""

    def to_json(self) -> dict[str, Any]:
        """As plain JSON values."""
        return {
            "name": self.name, "profile": self.profile, "port": self.port, "kind": self.kind, "emptied": self.emptied,
            "places": list(self.places), "serves": None if self.serves is None else list(self.serves),
            "division": _text(self.division), "minimum": _text(self.minimum), "maximum": _text(self.maximum),
            "keys": dict(self.keys),
        }  # fmt: skip

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> InstrumentSetup:
        """From `to_json`'s form."""
        given = dict(data)
        for name in ("division", "minimum", "maximum"):
            given[name] = None if given[name] is None else Decimal(given[name])
        given["places"] = tuple(given["places"])
        given["serves"] = None if given["serves"] is None else tuple(given["serves"])
        return cls(**given)


def _text(value: Decimal | None) -> str | None:
    return None if value is None else str(value)


def _as_text(value: Any) -> Any:
    """Floats of species models as text: an entry holds none."""
    match value:
        case float():
            return repr(value)
        case dict():
            return {k: _as_text(v) for k, v in value.items()}
        case list() | tuple():
            return [_as_text(v) for v in value]
        case _:
            return value


class Setup(Struct, frozen=True):
    """Everything the bench decides by, beside its state."""

    bench: str
    protocol: Protocol
    places: tuple[str, ...]
    instruments: Mapping[str, InstrumentSetup]
    people: tuple[str, ...] = ()
    """Names of those who work here, as they are to be spelt."""

    def to_json(self) -> dict[str, Any]:
        """As plain JSON values, for the ledger."""
        return {
            "bench": self.bench,
            "protocol": _as_text(self.protocol.model_dump(mode="json", exclude_defaults=True)),
            "places": list(self.places),
            "instruments": [i.to_json() for i in self.instruments.values()],
            "people": list(self.people),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Setup:
        """From `to_json`'s form. Raises pydantic's ValidationError for a protocol of another version."""
        instruments = [InstrumentSetup.from_json(i) for i in data["instruments"]]
        return cls(
            bench=data["bench"],
            protocol=Protocol.model_validate(data["protocol"]),
            places=tuple(data["places"]),
            instruments={i.name: i for i in instruments},
            people=tuple(data.get("people", ())),
        )

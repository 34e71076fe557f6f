"""What a page must know of a bench and doesn't change while the service runs, as plain JSON values."""

from __future__ import annotations

from typing import Any

from .. import __version__
from ..bench.acts import ACTS, HAND, MEND_REASONS, MISSING_REASONS
from ..config import Configured


def facts(configured: Configured) -> dict[str, Any]:
    """Looks, places, protocol and acts."""
    config, protocol = configured.config, configured.protocol
    page = config.page
    return {
        "bench": config.name,
        "version": __version__,
        "language": config.language,
        "theme": page.theme,
        "distance_m": page.distance_m,
        "ppi": page.ppi,
        "places": list(config.places),
        "protocol": protocol.name,
        "flow": protocol.flow,
        "tally": protocol.tally,
        "row": [
            {"place": s.place, "measurands": list(s.measurands), "species": list(s.species), "queue": s.queue}
            for s in protocol.row
        ],
        "tray": protocol.tray,
        "measurands": [
            {
                "key": slot.key, "name": slot.measurand.name, "side": slot.side, "replicate": slot.replicate,
                "quantity": slot.measurand.quantity, "unit": "mm" if slot.measurand.quantity == "length" else "g",
                "required": slot.measurand.required, "hand_division": slot.measurand.hand_division,
            }
            for slot in protocol.slots
        ],
        "species": [
            {"name": name, "title": s.title, "scientific": s.scientific, "drop": list(s.drop)}
            for name, s in protocol.species.items()
        ],
        "single_species": protocol.single_species,
        "codes": [
            {"field": field, "scale": c.scale, "values": dict(c.values), "required": c.required}
            for field, c in protocol.codes.items()
        ],
        "structures": [
            {"name": name, "most": s.most, "conditions": list(s.conditions)} for name, s in protocol.structures.items()
        ],
        "containers": None if protocol.containers is None else {
            "kind": protocol.containers.kind, "role": protocol.containers.role, "label": protocol.containers.label,
        },
        "pans": list(protocol.pans),
        "missing_reasons": list(MISSING_REASONS),
        "mend_reasons": list(MEND_REASONS),
        "hand": list(HAND),
        "people": list(config.people),
        "one_question_in": protocol.one_question_in,
        "instruments": [
            {"instrument": w.name, "kind": w.profile.kind, "places": list(w.places)} for w in configured.instruments
        ],
        "acts": [
            {"act": a.name, "usage": a.usage, "effect": a.effect, "group": a.group, "two_steps": a.two_steps}
            for a in ACTS.values()
        ],
    }  # fmt: skip

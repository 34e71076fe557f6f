"""What the service gives its pages: the sockets they are on, and the desk they ask."""

from __future__ import annotations

import json
import socket
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from ..announce.feed import Committed, Feed
from ..announce.narrate import question
from ..announce.web.gate import PAIRING_S, ROLES, Gate
from ..announce.web.guard import Entrance, loopback
from ..announce.web.listening import Door, bind
from ..config import BENCH_FILE, Configured, TabletConfig
from ..errors import ConfigError, ThwartError
from ..languages import language
from .counts import tallied

if TYPE_CHECKING:
    from .service import Service


def doors(configured: Configured) -> list[Door]:
    """The page's socket on this computer, and the tablet's where there is one. Raises ThwartError."""
    page = configured.config.page
    made = [Door(bind("127.0.0.1", page.port, "page.port"), Entrance(False, loopback()))]
    tablet = page.tablet
    if tablet is None:
        return made
    certificate = None
    if tablet.certificate is not None and tablet.key is not None:
        import ssl  # only here: a bench without tablets does without

        certificate = (configured.folder / tablet.certificate, configured.folder / tablet.key)
        try:
            ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(*certificate)
        except (OSError, ssl.SSLError) as error:
            where = f"{configured.folder / BENCH_FILE}: page.tablet.certificate"
            raise ConfigError(where, [f"{where}: can't be used: {error.strerror or error}"]) from None
    names = frozenset(name.lower() for name in tablet.names)
    bound = bind(tablet.address, tablet.port, "page.tablet.port")
    return [*made, Door(bound, Entrance(certificate is not None, names), certificate)]


def admission(
    doors: Sequence[Door], tablet: TabletConfig | None, gate: Gate, request: Mapping[str, Any]
) -> dict[str, Any]:
    """Addresses and what lets a browser in: the answer to `thwart page`. Raises ThwartError."""
    role, pair = request.get("role", "act"), request.get("pair")
    if role not in ROLES or pair not in (None, *ROLES):
        raise ThwartError("role and pair: look or act")
    if pair is not None and tablet is None:
        raise ThwartError(
            "this bench has no page for tablets", f"a table [page.tablet] in {BENCH_FILE} switches it on (docs/page.md)"
        )
    forgot = gate.forget() if request.get("forget") else None
    pairing = None if pair is None else gate.pair(pair)
    base = f"http://127.0.0.1:{doors[0].port}/"
    return {
        "address": base,
        "link": f"{base}#key={gate.key(role)}",
        "lead": f"{base}lead#key={gate.key(role)}",
        "role": role,
        "tablet": None if tablet is None else _addresses(tablet, doors[1]),
        "code": None if pairing is None else pairing.code,
        "code_role": None if pairing is None else pairing.role,
        "code_lasts_s": None if pairing is None else PAIRING_S,
        "forgot": forgot,
    }


def _addresses(tablet: TabletConfig, door: Door) -> list[str]:
    """Where a tablet finds the page: by the names it was given, else by this computer's address on its network."""
    names = list(tablet.names) or [tablet.address if tablet.address != "0.0.0.0" else _own_address()]
    return [f"{door.entrance.scheme}://{name}:{door.port}/" for name in names]


def _own_address() -> str:
    """The address others on the network know this computer by (nothing is sent for it)."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: an address that is nobody's
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


class Pages:
    """The desk of the pages (`announce.web.desk.Desk`)."""

    def __init__(self, service: Service) -> None:
        self._service = service
        self._setup: Mapping[str, Any] | None = None
        self._tallies = service.configured.protocol.flow == "tally"
        self.feed: Feed = service.feed

    def act(self, act: str, args: Sequence[str], place: str | None) -> Mapping[str, Any]:
        """Do an act, as the page."""
        if len(args) > 64:
            raise ThwartError("args: at most 64 words")
        return self._service.act(act, args, place, "page", self._service.configured.config.language)

    def picture(self) -> Mapping[str, Any]:
        """What `thwart status` shows, and the alarms, in the bench's language."""
        words = language(self._service.configured.config.language)
        alarms = [alarm.to_json(True, words.code) for alarm in self.feed.alarms.values()]
        status = self._service.status()
        held = status.pop("held") or {}
        for asked in (held.get("quiet", []), *(place["questions"] for place in held.get("places", []))):
            for q in asked:
                q["text"] = question(words, q["cause"], q["args"], q["text"])
        counts = tallied(self._service.ledger.path, held["batches"]) if self._tallies and held else []
        return {**held, **status, "seq": held.get("seq"), "alarms": alarms, "counts": counts}

    def setup(self) -> Mapping[str, Any]:
        """What doesn't change while the service runs."""
        if self._setup is None:
            from .facts import facts

            self._setup = facts(self._service.configured)
        return self._setup

    def day(self) -> Mapping[str, Any]:
        """The lead's tables, and the length-mass bands of the species in them."""
        from .cloud import WITHIN, axes
        from .day import day, lengths

        found = day(self._service.ledger.path)
        words = language(self._service.configured.config.language)
        for f in found["findings"]:
            f["text"] = question(words, f["cause"], json.loads(f.pop("args") or "{}"), f["text"])
        drawn = axes(self._service.configured.protocol)
        if drawn is None:
            return {**found, "picture": None}
        try:
            bands = self._service.bands(lengths(found["fish"], drawn[0]))
        except ThwartError:  # the tables are the ledger's, and stand while the clerk is held up
            bands = {}
        return {**found, "picture": {"x": drawn[0], "y": drawn[1], "within": WITHIN, "bands": bands}}

    def read(self, after: int) -> Sequence[Committed]:
        """Some of the groups that hold entries after one."""
        return self._service.read(after)

    def committed(self) -> int:
        """The last entry on the disk."""
        return self._service.clerk.committed_seq

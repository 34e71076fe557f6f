"""A board, a pan with its indicator, a balance that prints on a key, a pedal: as they behave, byte by byte."""

from __future__ import annotations

from collections import deque

from thwart.entries import Entry
from thwart.service.lines import Item

from .site import Site
from .world import Cause, Fish

#: A touch this near to the truth is right: what people and boards can do.
LENGTH_OFF_MM = 2
#: A mass this near is right: the indicator's rounding and a drop of water.
MASS_OFF_G = 2.0


class Board:
    """Prints each touch."""

    def __init__(self, site: Site, name: str) -> None:
        self.site, self.name = site, name

    def touch(self, mm: float, fish: Fish | None, what: str, trouble: str | None = None) -> list[Entry]:
        """One touch at so many millimetres; `what` the hand means to measure."""
        right = fish is not None and abs(mm - fish.true[what]) <= LENGTH_OFF_MM
        cause = Cause(fish, what, right, trouble)
        return self.site.bytes(self.name, f"{round(mm):5d} mm\r\n".encode(), cause)


class Pan:
    """A scale that streams: what lies on it, ringing after each change, marked moving until it is still."""

    RATE_S = 0.1
    RINGS_S = 0.35
    TALKS_S = 1.5
    """How long after a change its frames are sent on: later ones would say the same."""

    def __init__(
        self, site: Site, name: str, *, division: float = 1.0, noise: float = 0.25, start: float = 0.0
    ) -> None:
        self.site, self.name, self.division, self.noise = site, name, division, noise
        self.lies: list[tuple[Fish, str]] = []
        """Fish (or their parts) that lie on it, each with what the scale then shows of it."""
        self.force = 0.0
        """Of a hand, or of water."""
        self.tray = 0.0
        self.zeroed = 0.0
        """What the indicator takes off."""
        self.trouble: str | None = None
        self._changed = site.world.now
        self._from = 0.0
        self._talking = False
        self._sent: deque[tuple[str, tuple[tuple[Fish, str], ...]]] = deque(maxlen=100)
        """What it said lately, and what lay on it then: a service on a busy machine reads later than it was said."""
        site.streams.append(self)
        self.talk()

    @property
    def weight(self) -> float:
        """What it truly bears."""
        return sum(fish.true[what] for fish, what in self.lies) + self.force + self.tray

    def change(self, *, off: bool = False) -> None:
        """Call it after what lies there changed."""
        self._changed = self.site.world.now
        self.talk()

    def lay(self, fish: Fish, what: str = "whole_mass") -> None:
        self.lies.append((fish, what))
        fish.where = self.name
        self.change()

    def lift(self, fish: Fish) -> None:
        self.lies = [(f, what) for f, what in self.lies if f is not fish]
        fish.where = "hand"
        self.change()

    def lean(self, grams: float, trouble: str) -> None:
        self.force, self.trouble = grams, trouble
        self.change()

    def let_go(self) -> None:
        self.force = 0.0
        self.change()

    def talk(self) -> None:
        """Send frames until it is still."""
        self._changed = self.site.world.now
        if not self._talking:
            self._talking = True
            self._frame()

    def _frame(self) -> None:
        world = self.site.world
        since = (world.now - self._changed) / 1e9
        moving = since < self.RINGS_S
        shown = self.weight - self.zeroed
        if moving:
            shown += world.rng.uniform(-0.3, 0.3) * max(20.0, shown)
        shown = round((shown + world.rng.gauss(0, self.noise)) / self.division) * self.division
        sign = "-" if shown < 0 else "+"
        text = f"{'US' if moving else 'ST'},GS,{sign}{abs(shown):8.{0 if self.division >= 1 else 2}f},g\r\n"
        self._sent.append((text, tuple(self.lies)))
        self.site.bytes(self.name, text.encode(), self._cause)
        if since < self.TALKS_S:
            world.at(self.RATE_S, self._frame)
        else:
            self._talking = False

    def _cause(self, item: Item) -> Cause | None:
        """What really lay there when a reading was made: when this was said last."""
        if item.kind != "reading":
            return None
        value = float(item.body["base"]) if item.body["base"] is not None else 0.0
        said = str(item.body["raw"]).strip()
        lay = next((lay for text, lay in reversed(self._sent) if text.strip() == said), tuple(self.lies))
        if len(lay) != 1:
            return Cause(None, "whole_mass", False, self.trouble)
        fish, what = lay[0]
        right = abs(value - fish.true[what]) <= max(MASS_OFF_G * self.division, 0.6 * self.division)
        return Cause(fish, what, right, self.trouble if not right else None)


class Balance:
    """Prints what lies on it when its key is pressed; nothing shows when it is cleared."""

    def __init__(self, site: Site, name: str, *, decimals: int = 1) -> None:
        self.site, self.name, self.decimals = site, name, decimals

    def print(self, grams: float, fish: Fish | None, what: str, trouble: str | None = None) -> list[Entry]:
        right = fish is not None and abs(grams - fish.true[what]) <= 0.6 * 10**-self.decimals
        text = f"{grams:8.{self.decimals}f}\r\n"
        return self.site.bytes(self.name, text.encode(), Cause(fish, what, right, trouble))

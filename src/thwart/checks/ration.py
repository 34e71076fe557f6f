"""How often the bench may interrupt: a threshold that keeps the rate of questions on sound fish. Pure.

A question is asked when the tail probability of a value falls below the threshold; the threshold starts at the wanted
rate and follows what happened: ln threshold += GAIN (wanted - asked) after every sound fish (the update of adaptive
conformal inference, Gibbs & Candès 2021, on the log scale). So the rate is kept even where real fish scatter more
widely than the model says, and there is no cap: no fish is ever exempt.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

from .numeric import six

#: One question in so many sound fish, unless the protocol wants another.
RATE = 1.0 / 50.0
GAIN = 0.2
#: The threshold stays within these multiples of the wanted rate.
LEAST, MOST = -2.5, 1.0
#: Share of the ration kept for lengths against each other and for a size never seen; the rest is for masses.
LENGTH_SHARE = 0.10
SIZE_SHARE = 0.05


@dataclass(frozen=True, slots=True)
class Ration:
    """The threshold's state: `bend` is ln(threshold / wanted); `sound` fish seen and questions `asked` of them."""

    bend: float = 0.0
    sound: float = 0.0
    asked: float = 0.0

    def threshold(self, rate: float = RATE) -> float:
        """The tail probability, per fish, below which to ask."""
        return rate * exp(self.bend)

    @property
    def rate(self) -> float:
        """Questions per sound fish so far."""
        return self.asked / self.sound if self.sound else 0.0

    def after(self, asked: bool, sound: float = 1.0, rate: float = RATE) -> Ration:
        """After one fish that is sound with probability `sound`."""
        bend = self.bend + GAIN * sound * (rate - asked)
        return Ration(six(min(max(bend, LEAST), MOST)), six(self.sound + sound), six(self.asked + sound * asked))


def shares(pairs: list[tuple[str, str]]) -> dict[tuple[str, str], float]:
    """How the ration is split among a fish's relations; what is left is SIZE_SHARE."""
    masses = [p for p in pairs if p[0].endswith("_mass")]
    lengths = [p for p in pairs if not p[0].endswith("_mass")]
    if not pairs:
        return {}
    rest = 1.0 - SIZE_SHARE
    for_lengths = (rest if not masses else LENGTH_SHARE) if lengths else 0.0
    out = {p: for_lengths / len(lengths) for p in lengths}
    out.update({p: (rest - for_lengths) / len(masses) for p in masses})
    return out

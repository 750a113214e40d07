"""The numbers between evidence and chance: how much each part counts, and "something else"."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

# Shipped numbers: temperature of every part, weight of the vote, prior of "something else".
TEMPER: Final = 0.7
VOTE: Final = 0.3
OTHER_SHARE: Final = 0.1
# "Something else" is never said to be less likely than this; common practice, no source.
LEAST_OTHER: Final = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """What turns evidence into chances; the defaults are shipped, ``calibrate`` fits others.

    ``temper`` (beta) multiplies a part of the evidence that ``weights`` does not name, ``vote``
    (v) the logarithm of the neighbours' vote; ``other`` (o) is added to the level of "something
    else", ``least_other`` its least chance. ``novelty`` weighs the signs that a cause was never
    stored, none as shipped. ``tried`` is how many closed jobs there were when they were fitted,
    also where the shipped numbers proved better.
    """

    temper: float = TEMPER
    vote: float = VOTE
    other: float = 0.0
    least_other: float = LEAST_OTHER
    tried: int = 0
    weights: Mapping[str, float] = field(default_factory=dict)
    novelty: tuple[float, ...] = ()

    def weight(self, part: str) -> float:
        """Return how much a part of the evidence counts.

        Examples
        --------
        >>> Calibration(weights={"reading low": 1.1}).weight("reading low")
        1.1
        >>> Calibration().weight("reading high")
        0.7
        """
        return self.weights.get(part, self.temper)

    def as_numbers(self) -> dict[str, float]:
        """Return all numbers by name, as ``from_numbers`` takes them."""
        own = {name: float(getattr(self, name)) for name in _OWN}
        own |= {f"{_SIGN}{at}": value for at, value in enumerate(self.novelty)}
        return own | {f"{_PART}{name}": value for name, value in self.weights.items()}


_OWN: Final = ("temper", "vote", "other", "least_other", "tried")
_PART: Final = "part "
_SIGN: Final = "sign "

SHIPPED: Final = Calibration()


def from_numbers(numbers: Mapping[str, float]) -> Calibration:
    """Return the calibration of numbers by name; those that are not there are as shipped."""
    parts = {
        name.removeprefix(_PART): value for name, value in numbers.items() if name.startswith(_PART)
    }
    signs = sum(name.startswith(_SIGN) for name in numbers)
    known = {name: getattr(SHIPPED, name) for name in _OWN} | {
        name: value for name, value in numbers.items() if name in _OWN
    }
    return Calibration(
        temper=known["temper"],
        vote=known["vote"],
        other=known["other"],
        least_other=known["least_other"],
        tried=int(known["tried"]),
        weights=parts,
        novelty=tuple(numbers[f"{_SIGN}{at}"] for at in range(signs)),
    )

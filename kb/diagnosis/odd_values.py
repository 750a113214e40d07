"""Readings far from the platform's own, or outside hard limits, and the unit that was meant."""

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.case.units import UNITS, Quantity, convert, same_kind

Floats = NDArray[np.float64]

# Robust deviations from which a value is odd, and within which a unit explains it; values from
# which a platform speaks for itself (common practice, no source).
ODD_FROM: Final = 5.0
BACK_WITHIN: Final = 2.0
LEAST_VALUES: Final = 8
# The standard deviation of a normal distribution over its median absolute deviation.
_NORMAL: Final = 1.4826


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenReading:
    """A reading of a job: ``value`` in the canonical unit of ``quantity``.

    ``platform`` is make, model and engine, "" where not known; ``system`` the system of the job;
    ``unit`` the unit in which it was typed, "" where not known.
    """

    case: str
    quantity: str
    value: float
    platform: str = ""
    system: str = ""
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeantUnit:
    """That a value recorded as ``recorded`` was read in ``meant``: it is then ``value``."""

    recorded: str
    meant: str
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    """The middle of some values and their robust spread."""

    count: int
    middle: float
    spread: float

    def deviations(self, value: float) -> float:
        """Return how many spreads a value lies from the middle."""
        return abs(value - self.middle) / self.spread


@dataclass(frozen=True, slots=True, kw_only=True)
class OddValue:
    """A reading to look at again; all numbers in the canonical unit of its quantity.

    ``held`` is what it was held against, of its own platform or of all vehicles of its system;
    None where there were too few values. ``units`` are the units that would bring it back, the
    nearest first.
    """

    reading: TakenReading
    outside_limits: bool
    own_platform: bool
    held: Usual | None
    units: tuple[MeantUnit, ...] = ()

    @property
    def deviations(self) -> float:
        """How many spreads the value lies from the middle, 0 where there were too few values."""
        return self.held.deviations(self.reading.value) if self.held else 0.0


def usual(values: Sequence[float], quantity: Quantity) -> Usual:
    """Return the median, and 1.4826 times the median absolute deviation, at least the resolution.

    The resolution of a quantity is the difference that is still called the same reading.

    References
    ----------
    Hampel (1974), The influence curve and its role in robust estimation (from memory).
    """
    array: Floats = np.asarray(values, np.float64)
    middle = float(np.median(array))
    spread = _NORMAL * float(np.median(np.abs(array - middle)))
    least = max(quantity.likeness_tolerance(middle), np.finfo(np.float64).tiny)
    return Usual(count=len(array), middle=middle, spread=max(spread, least))


def odd_values(
    readings: Iterable[TakenReading],
    quantities: Mapping[str, Quantity],
    *,
    of: Container[str] | None = None,
) -> tuple[OddValue, ...]:
    """Return the readings to look at again, the farthest first.

    Those outside the limits come before all others, then those that another unit explains: the rest
    are often what was wrong with the car.

    A reading is held against all readings of its quantity on its platform, itself among them;
    where those are fewer than 8, against all of its system. A quantity that is not known is left out.

    Parameters
    ----------
    readings : iterable of TakenReading
        All that count for what is usual.
    quantities : mapping of str to Quantity
        By key.
    of : container of str or None
        Case ids whose readings are looked at; None means all.
    """
    kept = [row for row in readings if row.quantity in quantities]
    population = _Population(kept, quantities)
    found = [
        odd
        for row in kept
        if of is None or row.case in of
        if (odd := _odd(row, quantities[row.quantity], population)) is not None
    ]
    return tuple(sorted(found, key=_order))


def _order(odd: OddValue) -> tuple[bool, bool, float, str, str, float]:
    reading = odd.reading
    first = not odd.outside_limits, not odd.units
    return *first, -odd.deviations, reading.case, reading.quantity, reading.value


class _Population:
    """What is usual for a quantity on a platform, and in a system; each reckoned once."""

    def __init__(
        self, readings: Sequence[TakenReading], quantities: Mapping[str, Quantity]
    ) -> None:
        self._quantities = quantities
        self._values: dict[tuple[str, str, str], list[float]] = {}
        self._usual: dict[tuple[str, str, str], Usual] = {}
        for row in readings:
            for key in self._keys(row):
                self._values.setdefault(key, []).append(row.value)

    def _keys(self, row: TakenReading) -> Iterator[tuple[str, str, str]]:
        if row.platform:
            yield "platform", row.quantity, row.platform
        yield "system", row.quantity, row.system

    def usual(self, row: TakenReading) -> tuple[Usual | None, bool]:
        """Return what is usual for a reading, and whether its own platform says so."""
        for key in self._keys(row):
            if len(self._values[key]) >= LEAST_VALUES:
                if key not in self._usual:
                    self._usual[key] = usual(self._values[key], self._quantities[row.quantity])
                return self._usual[key], key[0] == "platform"
        return None, False


def _odd(row: TakenReading, quantity: Quantity, population: _Population) -> OddValue | None:
    held, own = population.usual(row)
    odd = OddValue(
        reading=row,
        outside_limits=not quantity.allows(row.value),
        own_platform=own,
        held=held,
    )
    if not odd.outside_limits and odd.deviations <= ODD_FROM:
        return None
    return replace(odd, units=meant_units(row, quantity, held)) if held else odd


def meant_units(row: TakenReading, quantity: Quantity, held: Usual) -> tuple[MeantUnit, ...]:
    """Return the units that bring a value back within 2 deviations, the nearest first.

    The number that was typed is the value in the unit in which it was recorded (each accepted one
    where that is not known); it may have been read in any other unit that the quantity accepts.
    Where nothing at all is nearly usual, a unit a thousand times smaller explains any number: the
    value must lie nearer to the middle than half-way to zero. A temperature has no such zero.
    """
    no_zero = bool(UNITS[quantity.unit].offset)
    within = BACK_WITHIN if no_zero else min(BACK_WITHIN, held.deviations(0.0) / 2)
    units = tuple(dict.fromkeys((quantity.unit, *quantity.accepted)))
    recorded = (row.unit,) if same_kind(row.unit, quantity.unit) else units
    meant = [
        MeantUnit(
            recorded=written,
            meant=unit,
            value=convert(convert(row.value, quantity.unit, written), unit, quantity.unit),
        )
        for written in recorded
        for unit in units
        if unit != written
    ]
    near = [row for row in meant if held.deviations(row.value) <= within]
    return tuple(sorted(near, key=lambda made: (held.deviations(made.value), made.meant)))

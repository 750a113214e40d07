"""What a rule may ask of a reading set, and what it gives back: a computation not yet done."""

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final, NamedTuple

from kb.case.model import Reading, ReadingSet, Vehicle
from kb.case.pressure import AbsolutePressure, standard_atmosphere
from kb.case.refrigerant import refrigerant_name
from kb.errors import KBError

_RPM = re.compile(r"(\d[\d,]*)\s*rpm")
_RATIO = re.compile(r"ratio\s*(?:of\s*)?(\d\.\d+)|(\d\.\d+)\s*:\s*1\b")
_LITRES = re.compile(r"(\d{1,2}\.\d)\s*L\b", re.IGNORECASE)
_BANK = re.compile(r"b(?:ank)?\s*([12])")
_CYLINDER = re.compile(r"(?:cyl(?:inder)?\.?\s*#?\s*)?(\d{1,2})")
_CORNERS: Final = {
    name: (side, axle)
    for side in ("left", "right")
    for axle in ("front", "rear")
    for name in (
        f"{side[0]}{axle[0]}",
        f"{axle[0]}{side[0]}",
        f"{side} {axle}",
        f"{axle} {side}",
    )
} | {"left": ("left", ""), "right": ("right", "")}
# Hard limits of a barometer on the ground, as in the quantity catalogue.
_LOWEST_KPA, _HIGHEST_KPA = 50.0, 110.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DerivedReading:
    """A computed reading; ``sources`` are the quantities that it was computed from."""

    key: str
    value: float
    unit: str
    position: str | None = None
    sources: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Computation:
    """A derived reading still to be computed; ``compute`` may refuse with an error."""

    key: str
    unit: str
    sources: tuple[str, ...]
    compute: Callable[[], float]
    position: str | None = None

    def done(self) -> DerivedReading | None:
        """Return the reading, or None where the stored values do not make sense."""
        try:
            value = self.compute()
        except (KBError, ArithmeticError, ValueError):
            return None
        if not math.isfinite(value):
            return None
        return DerivedReading(
            key=self.key,
            value=value,
            unit=self.unit,
            position=self.position,
            sources=self.sources,
        )


class Entry(NamedTuple):
    """One number of a set: position as typed, ``place`` for comparing, canonical unit."""

    position: str | None
    place: str | None
    value: float
    low: float
    high: float


def place_of(position: object) -> str | None:
    """Return a position in one spelling for comparing, or None where there is none."""
    if position is None:
        return None
    place = " ".join(str(position).lower().split())
    bank = _BANK.fullmatch(place)
    return f"bank {bank[1]}" if bank else place or None


def cylinder_of(place: str | None) -> str | None:
    """Return the cylinder's number that a place is, or None."""
    match = _CYLINDER.fullmatch(place or "")
    return match[1] if match else None


def corner_of(place: str | None) -> tuple[str, str] | None:
    """Return side and axle (empty where only the side is said) of a wheel, or None."""
    return _CORNERS.get(place or "")


def _entry(reading: Reading) -> Entry | None:
    value = reading.canonical
    if not isinstance(value, int | float) or not math.isfinite(value):
        return None
    low = value if reading.low is None else reading.low
    high = value if reading.high is None else reading.high
    return Entry(reading.position, place_of(reading.position), value, low, high)


class SetView:
    """A reading set by quantity and place, with its conditions.

    Parameters
    ----------
    readings : ReadingSet
        As stored; readings without a number are left out.
    vehicle : Vehicle
        Gives refrigerant and displacement where they are written.
    altitude_m : float
        Of the shop; a barometer or an altitude in the set comes first.
    """

    def __init__(self, readings: ReadingSet, *, vehicle: Vehicle, altitude_m: float) -> None:
        self._entries: dict[str, list[Entry]] = {}
        for reading in readings.readings:
            entry = _entry(reading)
            if entry is not None:
                self._entries.setdefault(reading.quantity, []).append(entry)
        self._state = tuple(str(word).lower() for word in readings.state)
        self._vehicle = vehicle
        self._altitude_m = altitude_m

    @property
    def quantities(self) -> frozenset[str]:
        """The quantities that have a number."""
        return frozenset(self._entries)

    def entries(self, quantity: str) -> list[Entry]:
        """Return every number of a quantity, in the order of the set."""
        return self._entries.get(quantity, [])

    def at(self, quantity: str, place: str | None = None) -> float | None:
        """Return the first number at exactly that place, or None."""
        for entry in self.entries(quantity):
            if entry.place == place:
                return entry.value
        return None

    def either(self, quantity: str, *places: str) -> float | None:
        """Return the number without a place, else at the first of ``places`` that has one."""
        for place in (None, *places):
            value = self.at(quantity, place)
            if value is not None:
                return value
        return None

    def pairs(self, first: str, second: str) -> Iterator[tuple[str | None, float, float]]:
        """Yield position and both numbers: of the same place, or ``second`` without a place."""
        for entry in self.entries(first):
            other = self.at(second, entry.place)
            other = self.at(second) if other is None else other
            if other is not None:
                yield entry.position, entry.value, other

    def said(self, *conditions: str) -> bool:
        """Return whether the set's state holds one of the conditions."""
        return any(condition in self._state for condition in conditions)

    @property
    def is_warm(self) -> bool:
        """False where the state says cold, warming up, cranking or not running."""
        return not self.said("engine_cold", "engine_warming", "cranking", "key_on_engine_off")

    @property
    def speed_rpm(self) -> float | None:
        """Engine speed as read, else as written in the state (``2500 rpm``)."""
        read = self.at("engine_speed")
        if read is not None:
            return read
        for word in self._state:
            match = _RPM.search(word)
            if match:
                return float(match[1].replace(",", ""))
        return None

    @property
    def speed_source(self) -> tuple[str, ...]:
        """``engine_speed`` where it was read; nothing where the state gives it."""
        return ("engine_speed",) if self.at("engine_speed") is not None else ()

    @property
    def refrigerant(self) -> str | None:
        """The refrigerant in its one spelling, or None where it is not known."""
        written = self._vehicle.refrigerant
        return refrigerant_name(written) if isinstance(written, str) else None

    @property
    def displacement_l(self) -> float | None:
        """The displacement where the engine is written like ``2.0 L``, or None."""
        written = self._vehicle.engine
        match = _LITRES.search(written) if isinstance(written, str) else None
        return float(match[1]) if match else None

    @property
    def gear_ratio(self) -> float | None:
        """The commanded gear's ratio where the state gives it (``ratio 1.52``, ``1.52:1``)."""
        for word in self._state:
            match = _RATIO.search(word)
            if match:
                return float(match[1] or match[2])
        return None

    def barometer(self) -> tuple[AbsolutePressure, tuple[str, ...]] | None:
        """Return the air's pressure and the quantity that gave it, or None if it makes no sense.

        A barometer reading beats the set's altitude, which beats the shop's.
        """
        kpa = self.at("barometric_pressure")
        if kpa is not None:
            sane = _LOWEST_KPA <= kpa <= _HIGHEST_KPA
            return (AbsolutePressure(kpa), ("barometric_pressure",)) if sane else None
        read_m = self.at("altitude")
        altitude_m = self._altitude_m if read_m is None else read_m
        try:
            air = standard_atmosphere(altitude_m)
        except KBError:
            return None
        return air, () if read_m is None else ("altitude",)


Rule = Callable[[SetView], Iterator[Computation]]

"""Readings computed from other readings: of one set, and between two sets of the same job.

A row is given only where every reading that it needs is there, under conditions for which the
formula is meant; nothing is assumed in place of a missing one. The formulas stand in
``kb.case.formulas_*``, what they need of a set in ``kb.case.derived_*``.

These rows of the vocabulary are formulas only, because no quantity of the catalogue holds one of
their inputs (pulley ratio, tyre size, air flow in m3/h, battery capacity, brake force and the
like): ``kb.case.formulas_*`` offers them to whoever knows the number. So are
``atm_pressure_at_altitude`` and ``absolute_pressure``, which say nothing that the reading does not.
"""

from collections.abc import Iterator
from functools import lru_cache
from typing import Final

from kb.case.derived_chassis import CHASSIS_RULES
from kb.case.derived_climate import CLIMATE_RULES
from kb.case.derived_cooling import COOLING_RULES
from kb.case.derived_electrical import ELECTRICAL_RULES
from kb.case.derived_engine import ENGINE_RULES, fuel_trims
from kb.case.derived_view import DerivedReading, Rule, SetView
from kb.case.formulas_engine import trim_idle_minus_load_percent
from kb.case.model import ReadingSet, Vehicle
from kb.case.terms import load_vocabulary

__all__ = ["DerivedReading", "derive", "differences"]

_RULES: Final[tuple[tuple[frozenset[str], Rule], ...]] = (
    *CLIMATE_RULES,
    *COOLING_RULES,
    *ENGINE_RULES,
    *ELECTRICAL_RULES,
    *CHASSIS_RULES,
)
# The vocabulary's comparison is with 2,500 rpm; where idle ends and load begins is common
# practice, no source.
_IDLE_BELOW_RPM, _LOAD_FROM_RPM = 1200.0, 1800.0
_LOAD = ("under_load", "at_cruise", "at_highway", "accelerating")
# A difference of two temperatures is another unit than a temperature.
_DIFFERENCE_UNIT: Final = {"degC": "delta_degC", "degF": "delta_degF"}


def derive(
    readings: ReadingSet, *, vehicle: Vehicle, altitude_m: float = 0.0
) -> tuple[DerivedReading, ...]:
    """Return every derived reading that the set allows.

    Parameters
    ----------
    readings : ReadingSet
        Taken under one condition.
    vehicle : Vehicle
        Its refrigerant, and its displacement where the engine is written like ``2.0 L``.
    altitude_m : float
        Of the shop; a barometer or an altitude in the set comes first.

    Returns
    -------
    tuple of DerivedReading
        Key and unit as in the vocabulary. A missing or senseless input gives no row.
    """
    return tuple(_derived(SetView(readings, vehicle=vehicle, altitude_m=altitude_m)))


def _derived(view: SetView) -> Iterator[DerivedReading]:
    for rule in _rules_for(view.quantities):
        for computation in rule(view):
            row = computation.done()
            if row is not None:
                yield row


# Sets hold the same few quantities again and again; half a kilobyte each (our choice).
@lru_cache(maxsize=1024)
def _rules_for(present: frozenset[str]) -> tuple[Rule, ...]:
    """Return the rules that have all that they need."""
    return tuple(rule for needs, rule in _RULES if needs <= present)


def differences(
    before: ReadingSet, after: ReadingSet, *, vehicle: Vehicle, altitude_m: float = 0.0
) -> tuple[DerivedReading, ...]:
    """Return what changed from one set to the other, in readings and in derived readings.

    Parameters
    ----------
    before, after : ReadingSet
        Two sets of the same job.
    vehicle : Vehicle
        As for ``derive``.
    altitude_m : float
        As for ``derive``.

    Returns
    -------
    tuple of DerivedReading
        ``<quantity>_change`` and ``<derived key>_change``, after less before, for each position in
        both; and ``trim_idle_minus_load`` where one set is at idle and the other at speed or load,
        in the same phase, so that no repair lies between them.
    """
    first = SetView(before, vehicle=vehicle, altitude_m=altitude_m)
    second = SetView(after, vehicle=vehicle, altitude_m=altitude_m)
    unique: dict[tuple[str, str | None], DerivedReading] = {}
    trims = _trim(first, second) if before.phase == after.phase else ()
    for rows in (_changed(first, second), _changed_derived(first, second), trims):
        for row in rows:
            unique.setdefault((row.key, row.position), row)
    return tuple(unique.values())


def _changed(first: SetView, second: SetView) -> Iterator[DerivedReading]:
    known = load_vocabulary().quantities
    for quantity in sorted(first.quantities & second.quantities & known.keys()):
        unit = known[quantity].unit
        for entry in first.entries(quantity):
            after = second.at(quantity, entry.place)
            if after is not None:
                yield DerivedReading(
                    key=f"{quantity}_change",
                    value=after - entry.value,
                    unit=_DIFFERENCE_UNIT.get(unit, unit),
                    position=entry.position,
                    sources=(quantity,),
                )


def _changed_derived(first: SetView, second: SetView) -> Iterator[DerivedReading]:
    before = {(row.key, row.position): row for row in _derived(first)}
    for row in _derived(second):
        start = before.get((row.key, row.position))
        if start is not None:
            yield DerivedReading(
                key=f"{row.key}_change",
                value=row.value - start.value,
                unit=_DIFFERENCE_UNIT.get(row.unit, row.unit),
                position=row.position,
                sources=tuple(dict.fromkeys((*start.sources, *row.sources))),
            )


def _is_idle(view: SetView) -> bool:
    speed = view.speed_rpm
    if view.said(*_LOAD) or (speed is not None and speed >= _IDLE_BELOW_RPM):
        return False
    return view.said("at_idle") or speed is not None


def _is_load(view: SetView) -> bool:
    speed = view.speed_rpm
    return view.said(*_LOAD) or (speed is not None and speed >= _LOAD_FROM_RPM)


def _trim(first: SetView, second: SetView) -> Iterator[DerivedReading]:
    if _is_idle(second) and _is_load(first):
        first, second = second, first
    if not (_is_idle(first) and _is_load(second)):
        return
    loaded = {place: total for _, place, total in fuel_trims(second)}
    for position, place, total in fuel_trims(first):
        if place in loaded:
            yield DerivedReading(
                key="trim_idle_minus_load",
                value=trim_idle_minus_load_percent(idle_percent=total, load_percent=loaded[place]),
                unit="percent",
                position=position,
                sources=("stft", "ltft"),
            )

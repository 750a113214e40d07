"""The refrigerant's way round, as far as it was read: states on the pressure-enthalpy picture."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from kb.case.derived_view import SetView
from kb.case.enthalpy import WITH_ENTHALPY, Edge, edge_at, liquid_kj_kg, vapour_kj_kg
from kb.case.model import ReadingSet, Vehicle
from kb.case.pressure import AbsolutePressure, GaugePressure, absolute_from_gauge
from kb.errors import KBError

# What is read at each place of the way, on which side, and whether liquid or vapour is there.
_LIQUID: Final = "condenser_out_temp"
_PLACES: Final = (
    ("evap_pipe_out_temp", "low"),
    ("suction_line_temp", "low"),
    ("discharge_line_temp", "high"),
    (_LIQUID, "high"),
)
SUCTION: Final = ("evap_pipe_out_temp", "suction_line_temp")


@dataclass(frozen=True, slots=True, kw_only=True)
class CyclePoint:
    """One state that was read.

    ``beyond_k`` is how far the pipe is above its boiling point (superheat), or below it for the
    liquid line (subcooling).
    """

    quantity: str
    kpa: float
    degc: float
    kj_kg: float
    beyond_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """Both pressures, absolute, and the states between them.

    ``missing`` names temperatures that were not read, ``odd`` those that no vapour or liquid of
    that pressure can have, or that lie beyond the equations: they are not drawn.
    """

    refrigerant: str
    barometer_kpa: float
    low: Edge
    high: Edge
    points: tuple[CyclePoint, ...]
    missing: tuple[str, ...]
    odd: tuple[str, ...]

    def point(self, *quantities: str) -> CyclePoint | None:
        """Return the last of these states that was read; None where none was."""
        found = [row for row in self.points if row.quantity in quantities]
        return found[-1] if found else None


def has_both_sides(readings: ReadingSet) -> bool:
    """Say whether low and high side were read together."""
    read = {row.quantity for row in readings.readings if row.canonical is not None}
    return {"low_side_pressure", "high_side_pressure"} <= read


def cycle_of(readings: ReadingSet, *, vehicle: Vehicle, altitude_m: float = 0.0) -> Cycle | None:
    """Return the cycle that a reading set tells of.

    Parameters
    ----------
    readings : ReadingSet
        Taken under one condition, gauge pressures.
    vehicle : Vehicle
        Gives the refrigerant.
    altitude_m : float
        Of the shop; a barometer or an altitude in the set comes first.

    Returns
    -------
    Cycle or None
        None where the refrigerant is not known or has no equation here, where either pressure was
        not read, or where they make no sense together.
    """
    view = SetView(readings, vehicle=vehicle, altitude_m=altitude_m)
    fluid, air = view.refrigerant, view.barometer()
    low, high = view.at("low_side_pressure"), view.at("high_side_pressure")
    if fluid not in WITH_ENTHALPY or air is None or low is None or high is None or low >= high:
        return None
    try:
        edges = {
            side: edge_at(fluid, absolute_from_gauge(GaugePressure(kpa), barometer=air[0]))
            for side, kpa in (("low", low), ("high", high))
        }
    except KBError:
        return None
    points = tuple(_points(view, fluid, edges))
    read = {quantity for quantity, _ in _PLACES if view.at(quantity) is not None}
    drawn = {row.quantity for row in points}
    return Cycle(
        refrigerant=fluid,
        barometer_kpa=air[0].kpa,
        low=edges["low"],
        high=edges["high"],
        points=points,
        missing=tuple(quantity for quantity, _ in _PLACES if quantity not in read),
        odd=tuple(quantity for quantity, _ in _PLACES if quantity in read - drawn),
    )


def _points(view: SetView, fluid: str, edges: dict[str, Edge]) -> Iterator[CyclePoint]:
    for quantity, side in _PLACES:
        degc = view.at(quantity)
        if degc is None:
            continue
        point = _point(fluid, quantity, degc, edge=edges[side])
        if point is not None:
            yield point


def _point(fluid: str, quantity: str, degc: float, *, edge: Edge) -> CyclePoint | None:
    """Return one state; None where the pipe's temperature cannot be that of the state."""
    beyond = edge.degc - degc if quantity == _LIQUID else degc - edge.degc
    if beyond < 0:
        return None
    try:
        if quantity == _LIQUID:
            kj_kg = liquid_kj_kg(fluid, degc)
        else:
            kj_kg = vapour_kj_kg(fluid, AbsolutePressure(edge.kpa), degc)
    except KBError:
        return None
    return CyclePoint(quantity=quantity, kpa=edge.kpa, degc=degc, kj_kg=kj_kg, beyond_k=beyond)

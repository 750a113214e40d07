"""The refrigerant's way round as a picture of pressure over enthalpy, with its words."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from kb.case.cycle import SUCTION, Cycle, CyclePoint
from kb.case.enthalpy import dome
from kb.case.term_rows import Caution
from kb.case.terms import Vocabulary
from kb.case.units import convert
from kb.retrieval.measures import plain_number
from kb.workflow import pictures
from web.plots import Axes, Curve, Mark, Plot, plot
from web.scales import round_ends
from web.wording import PHASES, amount

_LIQUID, _DISCHARGE = "condenser_out_temp", "discharge_line_temp"
_CAUTIONS: Final = ("refrigerant_licence", "refrigerant_weigh")
_HEADS: Final = ("Where", "Pressure (absolute) and pipe", "kJ/kg")
# Kelvin of dome below the low side, and room above the dome and below it in equal ratios (our
# choice).
_BELOW_K, _ROOM = 12.0, 1.3
_COLDEST_DEGC = -40.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CyclePicture:
    """A cycle laid out, with its words, its cautions and the rows of its table."""

    name: str
    about: tuple[str, ...]
    told: str
    chart: Plot
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    cautions: tuple[Caution, ...]


class _Words:
    """Numbers of a cycle in the units that the shop typed."""

    def __init__(self, row: pictures.CyclePicture, words: Vocabulary) -> None:
        self.words = words
        self.pressure_unit, self.unit = row.pressure_unit, row.temperature_unit
        self.difference_unit = "delta_degF" if self.unit == "degF" else "delta_degC"

    def name(self, quantity: str) -> str:
        known = self.words.quantities.get(quantity)
        return known.name if known else quantity.replace("_", " ")

    def pressure(self, kpa: float) -> float:
        return convert(kpa, "kPa", self.pressure_unit)

    def pressure_said(self, kpa: float) -> str:
        return amount(plain_number(self.pressure(kpa)), self.pressure_unit)

    def degrees(self, degc: float) -> str:
        return amount(plain_number(convert(degc, "degC", self.unit)), self.unit)

    def apart(self, point: CyclePoint) -> str:
        name = "subcooling" if point.quantity == _LIQUID else "superheat"
        value = convert(point.beyond_k, "delta_degC", self.difference_unit)
        return f"{name} {amount(f'{value:.1f}', self.difference_unit)}"


def cycle_picture(row: pictures.CyclePicture, words: Vocabulary) -> CyclePicture:
    """Return a cycle as a picture; what was not read is dashed or left out, and said."""
    say = _Words(row, words)
    rows = tuple(_rows(row.cycle, say))
    return CyclePicture(
        name=f"{row.cycle.refrigerant}, {PHASES[row.phase]}",
        about=tuple(_about(row.cycle, say)),
        told="; ".join(", ".join(cells) for cells in rows),
        chart=_chart(row.cycle, say),
        heads=_HEADS,
        rows=rows,
        cautions=tuple(words.cautions[key] for key in _CAUTIONS),
    )


def _about(cycle: Cycle, say: _Words) -> Iterator[str]:
    yield f"Pressures are absolute: the gauge and the air's {say.pressure_said(cycle.barometer_kpa)}."
    if cycle.missing:
        names = "; ".join(map(say.name, cycle.missing))
        yield f"Not read, so dashed or left out: {names}."
    if cycle.odd:
        names = "; ".join(map(say.name, cycle.odd))
        yield (
            f"Does not fit the pressure, so not drawn: {names}. Read gauge and pipe again at the "
            "same moment; a liquid pipe above its boiling point, or a suction pipe below it, means "
            "that liquid and vapour are mixed there."
        )


def _rows(cycle: Cycle, say: _Words) -> Iterator[tuple[str, ...]]:
    for name, edge in (("Low side", cycle.low), ("High side", cycle.high)):
        ends = f"{edge.liquid_kj_kg:.0f} to {edge.vapour_kj_kg:.0f}"
        yield name, f"{say.pressure_said(edge.kpa)}, boils at {say.degrees(edge.degc)}", ends
    for point in cycle.points:
        yield (
            say.name(point.quantity),
            f"{say.pressure_said(point.kpa)}, {say.degrees(point.degc)}, {say.apart(point)}",
            f"{point.kj_kg:.0f}",
        )


# --- the drawing ---------------------------------------------------------------------------------


def _chart(cycle: Cycle, say: _Words) -> Plot:
    edges = dome(cycle.refrigerant, max(_COLDEST_DEGC, cycle.low.degc - _BELOW_K))
    liquid = [(row.liquid_kj_kg, say.pressure(row.kpa)) for row in edges]
    vapour = [(row.vapour_kj_kg, say.pressure(row.kpa)) for row in edges]
    curves = (
        Curve(points=tuple(liquid), style="thin"),
        Curve(points=tuple(vapour), style="thin"),
        *_curves(cycle, say),
    )
    across = [x for row in curves for x, _ in row.points]
    x_low, x_high, step = round_ends(min(across) - 5, max(across) + 5)
    axes = Axes(
        x=(x_low, x_high),
        y=(liquid[0][1] / _ROOM, liquid[-1][1] * _ROOM),
        x_step=step,
        x_label="Enthalpy, kJ/kg",
        y_label=f"{amount('', say.pressure_unit).strip()}, absolute",
    )
    return plot(axes, curves=curves, marks=tuple(_marks(cycle, say)))


def _curves(cycle: Cycle, say: _Words) -> Iterator[Curve]:
    low, high = say.pressure(cycle.low.kpa), say.pressure(cycle.high.kpa)
    liquid = cycle.point(_LIQUID)
    left = liquid.kj_kg if liquid else cycle.high.liquid_kj_kg
    known = "solid" if liquid else "dashed"
    yield Curve(points=((cycle.high.vapour_kj_kg, high), (cycle.high.liquid_kj_kg, high)))
    yield Curve(points=((left, high), (left, low)), style=known)
    yield Curve(points=((left, low), (cycle.low.vapour_kj_kg, low)), style=known)
    if liquid:
        yield Curve(points=((cycle.high.liquid_kj_kg, high), (left, high)), style="thick")
    suction, discharge = cycle.point(*SUCTION), cycle.point(_DISCHARGE)
    if suction:
        yield Curve(points=((cycle.low.vapour_kj_kg, low), (suction.kj_kg, low)), style="thick")
    if discharge:
        yield Curve(points=((cycle.high.vapour_kj_kg, high), (discharge.kj_kg, high)))
    if suction and discharge:
        yield Curve(points=((suction.kj_kg, low), (discharge.kj_kg, high)))


def _marks(cycle: Cycle, say: _Words) -> Iterator[Mark]:
    for point in cycle.points:
        is_last = point is cycle.point(*SUCTION) or point.quantity == _LIQUID
        yield Mark(
            x=point.kj_kg,
            y=say.pressure(point.kpa),
            label=say.apart(point) if is_last else "",
            anchor="start" if point.quantity == _LIQUID else "end",
            shift=(0.0, -12.0) if point.quantity == _LIQUID else (6.0, 22.0),
            shape="before",
        )
    middle = (cycle.high.liquid_kj_kg + cycle.low.vapour_kj_kg) / 2
    between = math.sqrt(say.pressure(cycle.low.kpa) * say.pressure(cycle.high.kpa))
    yield Mark(x=middle, y=between, label="liquid and vapour", anchor="middle", shape="none")

"""Which derived readings of driveline, brakes and wheels a reading set allows."""

from collections.abc import Iterator
from functools import partial
from typing import Final

from kb.case import formulas_chassis
from kb.case.derived_view import Computation, Rule, SetView, corner_of


def _converter(view: SetView) -> Iterator[Computation]:
    engine, turbine = view.at("engine_speed"), view.at("input_speed")
    if engine is None or turbine is None:
        return
    yield Computation(
        key="converter_slip",
        unit="rpm",
        sources=("engine_speed", "input_speed"),
        compute=partial(
            formulas_chassis.converter_slip_rpm, engine_rpm=engine, turbine_rpm=turbine
        ),
    )


def _gear(view: SetView) -> Iterator[Computation]:
    turbine, output, ratio = view.at("input_speed"), view.at("output_speed"), view.gear_ratio
    if turbine is None or output is None or ratio is None:
        return
    yield Computation(
        key="gear_slip",
        unit="rpm",
        sources=("input_speed", "output_speed"),
        compute=partial(
            formulas_chassis.gear_slip_rpm, input_rpm=turbine, output_rpm=output, ratio=ratio
        ),
    )


def _wheel_speeds(view: SetView) -> Iterator[Computation]:
    # In a bend the outer wheels are faster in good order.
    if view.said("turning_left", "turning_right"):
        return
    wheels = {
        corner: entry.value
        for entry in view.entries("wheel_speed")
        if (corner := corner_of(entry.place)) is not None
    }
    if len(wheels) > 1:
        yield Computation(
            key="wheel_speed_difference",
            unit="percent",
            sources=("wheel_speed",),
            compute=partial(
                formulas_chassis.wheel_speed_difference_percent, speeds_km_h=tuple(wheels.values())
            ),
        )


def _rotor(view: SetView) -> Iterator[Computation]:
    # Several points of one rotor stand as "LF 1", "LF 2" or as one range; one number says nothing.
    points: dict[str, list[float]] = {}
    for entry in view.entries("rotor_thickness"):
        wheel, _, number = (entry.place or "").partition(" ")
        if wheel and (not number or number.isdigit()):
            points.setdefault(wheel, []).extend({entry.low, entry.high})
    for wheel, values in points.items():
        if len(values) > 1:
            yield Computation(
                key="rotor_thickness_variation",
                unit="mm",
                position=wheel.upper(),
                sources=("rotor_thickness",),
                compute=partial(
                    formulas_chassis.rotor_thickness_variation_mm, points_mm=tuple(values)
                ),
            )


def _by_axle(view: SetView, quantity: str) -> Iterator[tuple[str, float, float]]:
    sides: dict[tuple[str, str], float] = {}
    for entry in view.entries(quantity):
        corner = corner_of(entry.place)
        if corner is not None:
            sides.setdefault(corner, entry.value)
    for axle in ("front", "rear", ""):
        left, right = sides.get(("left", axle)), sides.get(("right", axle))
        if left is not None and right is not None:
            yield axle, left, right


def _cross(view: SetView) -> Iterator[Computation]:
    for quantity in ("camber", "caster"):
        for axle, left, right in _by_axle(view, quantity):
            yield Computation(
                key="cross_camber",
                unit="deg",
                position=f"{quantity} {axle}".strip(),
                sources=(quantity,),
                compute=partial(formulas_chassis.cross_angle_deg, left_deg=left, right_deg=right),
            )


def _thrust(view: SetView) -> Iterator[Computation]:
    for axle, left, right in _by_axle(view, "toe"):
        if axle == "rear":
            yield Computation(
                key="thrust_angle",
                unit="deg",
                sources=("toe",),
                compute=partial(
                    formulas_chassis.thrust_angle_deg, rear_left_deg=left, rear_right_deg=right
                ),
            )


CHASSIS_RULES: Final[tuple[tuple[frozenset[str], Rule], ...]] = (
    (frozenset({"engine_speed", "input_speed"}), _converter),
    (frozenset({"input_speed", "output_speed"}), _gear),
    (frozenset({"wheel_speed"}), _wheel_speeds),
    (frozenset({"rotor_thickness"}), _rotor),
    (frozenset(), _cross),
    (frozenset({"toe"}), _thrust),
)

"""Which derived readings of the cooling system a reading set allows."""

from collections.abc import Iterator
from functools import partial
from typing import Final

from kb.case import formulas_climate
from kb.case.derived_view import Computation, Rule, SetView
from kb.case.pressure import GaugePressure

_SOAK_H = 8.0
_SENSORS = ("coolant_temp", "intake_air_temp", "ambient_temp", "oil_temp")


def _heater(view: SetView) -> Iterator[Computation]:
    for position, hot, cool in view.pairs("heater_in_temp", "heater_out_temp"):
        yield Computation(
            key="heater_core_drop",
            unit="delta_degC",
            position=position,
            sources=("heater_in_temp", "heater_out_temp"),
            compute=partial(formulas_climate.heater_core_drop_k, in_degc=hot, out_degc=cool),
        )


def _radiator(view: SetView) -> Iterator[Computation]:
    # With the thermostat shut the radiator is cold on purpose.
    if view.said("engine_cold", "engine_warming"):
        return
    for position, hot, cool in view.pairs("radiator_in_temp", "radiator_out_temp"):
        yield Computation(
            key="radiator_drop",
            unit="delta_degC",
            position=position,
            sources=("radiator_in_temp", "radiator_out_temp"),
            compute=partial(formulas_climate.radiator_drop_k, in_degc=hot, out_degc=cool),
        )


def _below_rating(view: SetView) -> Iterator[Computation]:
    rating, coolant = view.at("thermostat_rating"), view.at("coolant_temp")
    if rating is None or coolant is None or not view.is_warm:
        return
    yield Computation(
        key="coolant_below_rating",
        unit="delta_degC",
        sources=("thermostat_rating", "coolant_temp"),
        compute=partial(
            formulas_climate.coolant_below_rating_k, rating_degc=rating, coolant_degc=coolant
        ),
    )


def _boil_margin(view: SetView) -> Iterator[Computation]:
    # Cold coolant is far from boiling under any cap.
    if view.said("engine_cold", "engine_warming") or view.at("soak_time") is not None:
        return
    air = view.barometer()
    cap, coolant = view.at("cap_opening_pressure"), view.at("coolant_temp")
    if air is None or cap is None or coolant is None:
        return
    yield Computation(
        key="coolant_boil_margin",
        unit="delta_degC",
        sources=("cap_opening_pressure", "coolant_temp", *air[1]),
        compute=partial(
            formulas_climate.coolant_boil_margin_k,
            cap=GaugePressure(cap),
            coolant_degc=coolant,
            barometer=air[0],
        ),
    )


def _cold_soak(view: SetView) -> Iterator[Computation]:
    soak = view.at("soak_time")
    if soak is None or soak < _SOAK_H:
        return
    read = {name: value for name in _SENSORS if (value := view.at(name)) is not None}
    if len(read) < 2:
        return
    yield Computation(
        key="cold_soak_spread",
        unit="delta_degC",
        sources=(*read, "soak_time"),
        compute=partial(formulas_climate.cold_soak_spread_k, sensors_degc=tuple(read.values())),
    )


COOLING_RULES: Final[tuple[tuple[frozenset[str], Rule], ...]] = (
    (frozenset({"heater_in_temp", "heater_out_temp"}), _heater),
    (frozenset({"radiator_in_temp", "radiator_out_temp"}), _radiator),
    (frozenset({"thermostat_rating", "coolant_temp"}), _below_rating),
    (frozenset({"cap_opening_pressure", "coolant_temp"}), _boil_margin),
    (frozenset({"soak_time"}), _cold_soak),
)

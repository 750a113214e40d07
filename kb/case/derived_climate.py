"""Which derived readings of air conditioning and cooling a reading set allows."""

from collections.abc import Iterator
from functools import partial
from typing import Final

from kb.case import formulas_climate
from kb.case.derived_view import Computation, Rule, SetView
from kb.case.pressure import AbsolutePressure, GaugePressure

# Set by the formula's own condition (8 h off); common practice, no source.
_SOAK_H = 8.0
_RUNNING = ("at_idle", "engine_running", "engine_hot", "hot_soak", "ac_on", "cranking")
_BREATHING = frozenset({"maf", "map", "boost_pressure", "manifold_vacuum", "engine_load"})


def _saturation(view: SetView) -> Iterator[Computation]:
    fluid, air = view.refrigerant, view.barometer()
    if fluid is None or air is None:
        return
    sides = (
        ("low_side_pressure", "low side"),
        ("high_side_pressure", "high side"),
        ("static_pressure", "static"),
    )
    for quantity, side in sides:
        kpa = view.at(quantity)
        if kpa is not None:
            yield Computation(
                key="saturation_temp",
                unit="degC",
                position=side,
                sources=(quantity, *air[1]),
                compute=partial(
                    formulas_climate.saturation_temp_of_gauge_degc,
                    fluid,
                    gauge=GaugePressure(kpa),
                    barometer=air[0],
                ),
            )


def _superheat(view: SetView) -> Iterator[Computation]:
    fluid, air = view.refrigerant, view.barometer()
    low, pipe = view.at("low_side_pressure"), view.at("evap_pipe_out_temp")
    if fluid is None or air is None or low is None or pipe is None:
        return
    yield Computation(
        key="evaporator_superheat",
        unit="delta_degC",
        sources=("low_side_pressure", "evap_pipe_out_temp", *air[1]),
        compute=partial(
            formulas_climate.evaporator_superheat_k,
            fluid,
            low_side=GaugePressure(low),
            pipe_degc=pipe,
            barometer=air[0],
        ),
    )


def _subcooling(view: SetView) -> Iterator[Computation]:
    fluid, air = view.refrigerant, view.barometer()
    high, pipe = view.at("high_side_pressure"), view.at("condenser_out_temp")
    if fluid is None or air is None or high is None or pipe is None:
        return
    yield Computation(
        key="condenser_subcooling",
        unit="delta_degC",
        sources=("high_side_pressure", "condenser_out_temp", *air[1]),
        compute=partial(
            formulas_climate.condenser_subcooling_k,
            fluid,
            high_side=GaugePressure(high),
            pipe_degc=pipe,
            barometer=air[0],
        ),
    )


def _compression_ratio(view: SetView) -> Iterator[Computation]:
    air = view.barometer()
    high, low = view.at("high_side_pressure"), view.at("low_side_pressure")
    if air is None or high is None or low is None:
        return
    yield Computation(
        key="compression_ratio",
        unit="1",
        sources=("high_side_pressure", "low_side_pressure", *air[1]),
        compute=partial(
            formulas_climate.compression_ratio,
            high_side=GaugePressure(high),
            low_side=GaugePressure(low),
            barometer=air[0],
        ),
    )


def _condensing(view: SetView) -> Iterator[Computation]:
    fluid, air = view.refrigerant, view.barometer()
    high, ambient = view.at("high_side_pressure"), view.at("ambient_temp")
    if fluid is None or air is None or high is None or ambient is None:
        return
    yield Computation(
        key="condensing_over_ambient",
        unit="delta_degC",
        sources=("high_side_pressure", "ambient_temp", *air[1]),
        compute=partial(
            formulas_climate.condensing_over_ambient_k,
            fluid,
            high_side=GaugePressure(high),
            ambient_degc=ambient,
            barometer=air[0],
        ),
    )


def _static(view: SetView) -> Iterator[Computation]:
    # The air's temperature stands for the parts' only where the car stood.
    soak = view.at("soak_time")
    if view.said(*_RUNNING) or (soak is not None and soak < _SOAK_H):
        return
    fluid, air = view.refrigerant, view.barometer()
    static, ambient = view.at("static_pressure"), view.at("ambient_temp")
    if fluid is None or air is None or static is None or ambient is None:
        return
    yield Computation(
        key="static_over_saturation",
        unit="kPa",
        sources=("static_pressure", "ambient_temp", *air[1]),
        compute=partial(
            formulas_climate.static_over_saturation_kpa,
            fluid,
            static=GaugePressure(static),
            soak_degc=ambient,
            barometer=air[0],
        ),
    )


def _vent(view: SetView) -> Iterator[Computation]:
    # Both rows are defined at full cold only; on heat they would name a healthy heater.
    if view.said("setting_hot", "ac_off", "key_on_engine_off"):
        return
    for position, vent, ambient in view.pairs("vent_temp", "ambient_temp"):
        yield Computation(
            key="vent_over_ambient",
            unit="delta_degC",
            position=position,
            sources=("vent_temp", "ambient_temp"),
            compute=partial(
                formulas_climate.vent_over_ambient_k, vent_degc=vent, ambient_degc=ambient
            ),
        )
    for position, vent, core in view.pairs("vent_temp", "evap_air_out_temp"):
        yield Computation(
            key="reheat_after_evaporator",
            unit="delta_degC",
            position=position,
            sources=("vent_temp", "evap_air_out_temp"),
            compute=partial(
                formulas_climate.reheat_after_evaporator_k, vent_degc=vent, evap_out_degc=core
            ),
        )


def _air_drop(view: SetView) -> Iterator[Computation]:
    for position, air_in, air_out in view.pairs("evap_air_in_temp", "evap_air_out_temp"):
        yield Computation(
            key="evaporator_air_drop",
            unit="delta_degC",
            position=position,
            sources=("evap_air_in_temp", "evap_air_out_temp"),
            compute=partial(
                formulas_climate.evaporator_air_drop_k, air_in_degc=air_in, air_out_degc=air_out
            ),
        )


def _charge(view: SetView) -> Iterator[Computation]:
    recovered = view.at("refrigerant_charge", "recovered")
    label = view.at("refrigerant_charge", "label")
    if recovered is None or label is None:
        return
    yield Computation(
        key="charge_percent",
        unit="percent",
        sources=("refrigerant_charge",),
        compute=partial(
            formulas_climate.charge_percent, recovered_kg=recovered / 1000, label_kg=label / 1000
        ),
    )


def _moist_air(view: SetView) -> Iterator[tuple[str | None, str, float, float]]:
    # Place, quantity of the temperature, temperature, humidity; a cabin's humidity belongs to it.
    outside, humidity = view.at("ambient_temp"), view.either("ambient_humidity", "outside")
    if outside is not None and humidity is not None:
        yield None, "ambient_temp", outside, humidity
    inside, humidity = view.at("cabin_temp"), view.at("ambient_humidity", "cabin")
    if inside is not None and humidity is not None:
        yield "cabin", "cabin_temp", inside, humidity


def _dew(view: SetView) -> Iterator[Computation]:
    for place, quantity, degc, percent in _moist_air(view):
        yield Computation(
            key="dew_point",
            unit="degC",
            position=place,
            sources=(quantity, "ambient_humidity"),
            compute=partial(
                formulas_climate.dew_point_degc, air_degc=degc, humidity_percent=percent
            ),
        )


def _below_dew(view: SetView) -> Iterator[Computation]:
    # Air that goes in: the cabin's on recirculate, else from outside.
    wanted, core = "cabin" if view.said("on_recirculate") else None, view.at("evap_air_out_temp")
    for place, quantity, degc, percent in _moist_air(view):
        if place != wanted or core is None:
            continue
        yield Computation(
            key="evaporator_below_dew",
            unit="delta_degC",
            sources=(quantity, "ambient_humidity", "evap_air_out_temp"),
            compute=partial(_dew_less_core, degc, percent, core_degc=core),
        )


def _dew_less_core(air_degc: float, humidity_percent: float, *, core_degc: float) -> float:
    dew = formulas_climate.dew_point_degc(air_degc=air_degc, humidity_percent=humidity_percent)
    return formulas_climate.evaporator_below_dew_k(dew_degc=dew, evap_out_degc=core_degc)


def _engine_air(view: SetView) -> Iterator[Computation]:
    # Only where the engine's breathing was read; elsewhere both would only restate the weather.
    outside, humidity = view.at("ambient_temp"), view.either("ambient_humidity", "outside")
    air = view.barometer()
    if air is None or outside is None or humidity is None or not view.quantities & _BREATHING:
        return
    for key, formula in (
        ("air_density_ratio", formulas_climate.air_density_ratio),
        ("power_correction", _power_correction),
    ):
        yield Computation(
            key=key,
            unit="1",
            sources=("ambient_temp", "ambient_humidity", *air[1]),
            compute=partial(formula, barometer=air[0], air_degc=outside, humidity_percent=humidity),
        )


def _power_correction(
    *, barometer: AbsolutePressure, air_degc: float, humidity_percent: float
) -> float:
    vapour = formulas_climate.vapour_pressure_kpa(
        air_degc=air_degc, humidity_percent=humidity_percent
    )
    return formulas_climate.power_correction(dry_kpa=barometer.kpa - vapour, air_degc=air_degc)


CLIMATE_RULES: Final[tuple[tuple[frozenset[str], Rule], ...]] = (
    (frozenset(), _saturation),
    (frozenset({"low_side_pressure", "evap_pipe_out_temp"}), _superheat),
    (frozenset({"high_side_pressure", "condenser_out_temp"}), _subcooling),
    (frozenset({"high_side_pressure", "low_side_pressure"}), _compression_ratio),
    (frozenset({"high_side_pressure", "ambient_temp"}), _condensing),
    (frozenset({"static_pressure", "ambient_temp"}), _static),
    (frozenset({"vent_temp"}), _vent),
    (frozenset({"evap_air_in_temp", "evap_air_out_temp"}), _air_drop),
    (frozenset({"refrigerant_charge"}), _charge),
    (frozenset({"ambient_humidity"}), _dew),
    (frozenset({"ambient_humidity", "evap_air_out_temp"}), _below_dew),
    (frozenset({"ambient_humidity", "ambient_temp"}), _engine_air),
)

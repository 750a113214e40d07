"""Which derived readings of electrics, network and high voltage a reading set allows."""

from collections.abc import Iterator
from functools import partial
from typing import Final

from kb.case import formulas_electrical
from kb.case.derived_view import Computation, Rule, SetView

# Surface charge needs hours to go; table 4.6 of the trade reference is for 4 to 12 h of rest.
_REST_H = 4.0
_JUST_RUN = ("engine_running", "at_idle", "engine_warming", "engine_hot", "hot_soak", "at_cruise")


def _cranking(view: SetView) -> Iterator[Computation]:
    rest, crank = view.either("battery_voltage_rest", "main"), view.at("battery_voltage_crank")
    if rest is None or crank is None:
        return
    yield Computation(
        key="cranking_drop",
        unit="V",
        sources=("battery_voltage_rest", "battery_voltage_crank"),
        compute=partial(formulas_electrical.cranking_drop_v, rest_v=rest, crank_v=crank),
    )
    current = view.at("cranking_current")
    if current is None:
        return
    yield Computation(
        key="source_resistance",
        unit="mohm",
        sources=("battery_voltage_rest", "battery_voltage_crank", "cranking_current"),
        compute=partial(
            formulas_electrical.source_resistance_mohm, drop_v=rest - crank, current_a=current
        ),
    )


def _drop(view: SetView) -> Iterator[Computation]:
    # While cranking, the starter's current is the one that flows in its cables.
    names = ["circuit_current"]
    if view.said("cranking") or view.at("battery_voltage_crank") is not None:
        names.append("cranking_current")
    current = next((name for name in names if name in view.quantities), "")
    for position, drop, amperes in view.pairs("voltage_drop", current):
        yield Computation(
            key="voltage_drop_resistance",
            unit="mohm",
            position=position,
            sources=("voltage_drop", current),
            compute=partial(
                formulas_electrical.voltage_drop_resistance_mohm, drop_v=drop, current_a=amperes
            ),
        )


def _charging(view: SetView) -> Iterator[Computation]:
    rest, running = view.either("battery_voltage_rest", "main"), view.at("battery_voltage_running")
    if rest is None or running is None:
        return
    yield Computation(
        key="charging_rise",
        unit="V",
        sources=("battery_voltage_running", "battery_voltage_rest"),
        compute=partial(formulas_electrical.charging_rise_v, running_v=running, rest_v=rest),
    )


def _fuse(view: SetView) -> Iterator[Computation]:
    for entry in view.entries("fuse_drop"):
        ohm = view.at("resistance", entry.place)
        if ohm is not None and entry.place is not None:
            yield Computation(
                key="fuse_current",
                unit="A",
                position=entry.position,
                sources=("fuse_drop", "resistance"),
                compute=partial(
                    formulas_electrical.fuse_current_a, drop_mv=entry.value, fuse_mohm=ohm * 1000
                ),
            )


def _charge(view: SetView) -> Iterator[Computation]:
    soak = view.at("soak_time")
    if view.said(*_JUST_RUN) or (soak is not None and soak < _REST_H):
        return
    for entry in view.entries("battery_voltage_rest"):
        if "charge" in (entry.place or ""):
            continue
        yield Computation(
            key="soc_from_ocv",
            unit="percent",
            position=entry.position,
            sources=("battery_voltage_rest",),
            compute=partial(
                formulas_electrical.charge_of_rested_battery_percent, rested_v=entry.value
            ),
        )


def _signal(view: SetView) -> Iterator[Computation]:
    for position, signal, reference in view.pairs("signal_voltage", "reference_voltage"):
        yield Computation(
            key="signal_percent_of_reference",
            unit="percent",
            position=position,
            sources=("signal_voltage", "reference_voltage"),
            compute=partial(
                formulas_electrical.signal_percent_of_reference,
                signal_v=signal,
                reference_v=reference,
            ),
        )


def _duty(view: SetView) -> Iterator[Computation]:
    for position, duty, supply in view.pairs("duty_cycle", "supply_voltage"):
        yield Computation(
            key="duty_average_volts",
            unit="V",
            position=position,
            sources=("duty_cycle", "supply_voltage"),
            compute=partial(formulas_electrical.duty_average_v, duty_percent=duty, supply_v=supply),
        )


def _actuator(view: SetView) -> Iterator[Computation]:
    for entry in view.entries("actuator_command"):
        # Never another actuator's answer: the place must be the same, or absent on both.
        actual = view.at("actuator_actual", entry.place)
        if actual is not None:
            yield Computation(
                key="commanded_minus_actual",
                unit="percent",
                position=entry.position,
                sources=("actuator_command", "actuator_actual"),
                compute=partial(
                    formulas_electrical.commanded_minus_actual_percent,
                    commanded_percent=entry.value,
                    actual_percent=actual,
                ),
            )


def _cells(view: SetView) -> Iterator[Computation]:
    for position, highest, lowest in view.pairs("hv_cell_max", "hv_cell_min"):
        yield Computation(
            key="hv_cell_spread",
            unit="mV",
            position=position,
            sources=("hv_cell_max", "hv_cell_min"),
            compute=partial(
                formulas_electrical.hv_cell_spread_mv, highest_v=highest, lowest_v=lowest
            ),
        )


def _isolation(view: SetView) -> Iterator[Computation]:
    for position, megohm, pack in view.pairs("hv_isolation", "hv_pack_voltage"):
        yield Computation(
            key="isolation_per_volt",
            unit="ohm/V",
            position=position,
            sources=("hv_isolation", "hv_pack_voltage"),
            compute=partial(
                formulas_electrical.isolation_per_volt_ohm_v,
                isolation_ohm=megohm * 1e6,
                pack_v=pack,
            ),
        )


ELECTRICAL_RULES: Final[tuple[tuple[frozenset[str], Rule], ...]] = (
    (frozenset({"battery_voltage_rest", "battery_voltage_crank"}), _cranking),
    (frozenset({"voltage_drop"}), _drop),
    (frozenset({"battery_voltage_rest", "battery_voltage_running"}), _charging),
    (frozenset({"fuse_drop", "resistance"}), _fuse),
    (frozenset({"battery_voltage_rest"}), _charge),
    (frozenset({"signal_voltage", "reference_voltage"}), _signal),
    (frozenset({"duty_cycle", "supply_voltage"}), _duty),
    (frozenset({"actuator_command", "actuator_actual"}), _actuator),
    (frozenset({"hv_cell_max", "hv_cell_min"}), _cells),
    (frozenset({"hv_isolation", "hv_pack_voltage"}), _isolation),
)

"""Which derived readings of fuel, air and the engine's mechanics a reading set allows."""

from collections.abc import Iterator
from functools import partial
from typing import Final

from kb.case import formulas_engine
from kb.case.derived_view import Computation, Rule, SetView, cylinder_of
from kb.case.pressure import AbsolutePressure, GaugePressure
from kb.case.units import convert

# Compression with the engine running is another measurement and is never mixed in.
_OTHER_COMPRESSION = frozenset({"running", "snap", "idle"})


def fuel_trims(view: SetView) -> Iterator[tuple[str | None, str | None, float]]:
    """Yield position as typed, place and total trim in percent, bank by bank."""
    for entry in view.entries("stft"):
        long_percent = view.at("ltft", entry.place)
        if long_percent is not None:
            total = formulas_engine.total_fuel_trim_percent(
                short_percent=entry.value, long_percent=long_percent
            )
            yield entry.position, entry.place, total


def _trims(view: SetView) -> Iterator[Computation]:
    totals: dict[str | None, float] = {}
    for position, place, total in fuel_trims(view):
        totals.setdefault(place, total)
        yield Computation(
            key="total_fuel_trim",
            unit="percent",
            position=position,
            sources=("stft", "ltft"),
            compute=partial(float, total),
        )
    if "bank 1" in totals and "bank 2" in totals:
        yield Computation(
            key="trim_bank_difference",
            unit="percent",
            sources=("stft", "ltft"),
            compute=partial(
                formulas_engine.trim_bank_difference_percent,
                bank_1_percent=totals["bank 1"],
                bank_2_percent=totals["bank 2"],
            ),
        )


def _gas(view: SetView) -> Iterator[Computation]:
    for entry in view.entries("exhaust_co2"):
        shares = [view.at(name, entry.place) for name in ("exhaust_co", "exhaust_o2", "exhaust_hc")]
        co, o2, hc_ppm = shares
        if co is None or o2 is None or hc_ppm is None:
            continue
        gas = formulas_engine.ExhaustGas(
            co2_percent=entry.value, co_percent=co, o2_percent=o2, hc_percent=hc_ppm / 10000
        )
        yield Computation(
            key="lambda_from_gas",
            unit="1",
            position=entry.position,
            sources=("exhaust_co2", "exhaust_co", "exhaust_o2", "exhaust_hc"),
            compute=partial(formulas_engine.lambda_from_gas, gas),
        )


def _air_flow(view: SetView) -> Iterator[Computation]:
    flow, litres = view.at("maf"), view.displacement_l
    if flow is None or litres is None:
        return
    if view.said("at_idle") and view.is_warm:
        yield Computation(
            key="idle_air_per_litre",
            unit="g/s/L",
            sources=("maf",),
            compute=partial(
                formulas_engine.idle_air_per_litre_g_s_l, air_flow_g_s=flow, displacement_l=litres
            ),
        )
    manifold, speed = view.at("map"), view.speed_rpm
    air = view.either("intake_air_temp", "after cooler")
    if manifold is None or speed is None or air is None:
        return
    yield Computation(
        key="volumetric_efficiency",
        unit="1",
        sources=("maf", "map", "intake_air_temp", *view.speed_source),
        compute=partial(
            formulas_engine.volumetric_efficiency,
            air_flow_g_s=flow,
            pressure=AbsolutePressure(manifold),
            air_degc=air,
            displacement_l=litres,
            speed_rpm=speed,
        ),
    )


def _manifold(view: SetView) -> Iterator[Computation]:
    air = view.barometer()
    if air is None:
        return
    for entry in view.entries("manifold_vacuum"):
        yield Computation(
            key="manifold_absolute",
            unit="kPa",
            position=entry.position,
            sources=("manifold_vacuum", *air[1]),
            compute=partial(
                formulas_engine.manifold_absolute_kpa, barometer=air[0], vacuum_kpa=entry.value
            ),
        )


def _injector_difference(view: SetView) -> Iterator[Computation]:
    # A high-pressure rail means direct injection, where the low side does not meet the manifold.
    air, rail = view.barometer(), view.either("fuel_pressure", "running")
    if air is None or rail is None or "fuel_rail_pressure" in view.quantities:
        return
    manifold, source = view.at("map"), "map"
    vacuum = view.at("manifold_vacuum")
    if manifold is None and vacuum is not None:
        manifold, source = air[0].kpa - vacuum, "manifold_vacuum"
    if manifold is None or manifold < 0:
        return
    yield Computation(
        key="injector_pressure_difference",
        unit="kPa",
        sources=("fuel_pressure", source, *air[1]),
        compute=partial(
            formulas_engine.injector_pressure_difference_kpa,
            rail=GaugePressure(rail),
            manifold=AbsolutePressure(manifold),
            barometer=air[0],
        ),
    )


def _injector_duty(view: SetView) -> Iterator[Computation]:
    speed = view.speed_rpm
    if speed is None:
        return
    for entry in view.entries("injector_pulse"):
        yield Computation(
            key="injector_duty",
            unit="percent",
            position=entry.position,
            sources=("injector_pulse", *view.speed_source),
            compute=partial(
                formulas_engine.injector_duty_percent, pulse_ms=entry.value, speed_rpm=speed
            ),
        )


def _injector_balance(view: SetView) -> Iterator[Computation]:
    # Without a cylinder the same quantity is the leak-down of the whole rail.
    drops = [row for row in view.entries("fuel_pressure_drop") if cylinder_of(row.place)]
    if len(drops) < 3:
        return
    values = tuple(row.value for row in drops)
    for number, row in enumerate(drops, start=1):
        yield Computation(
            key="injector_balance",
            unit="percent",
            position=row.position,
            sources=("fuel_pressure_drop",),
            compute=partial(
                formulas_engine.injector_balance_percent, drops_kpa=values, which=number
            ),
        )


def _fuel_flow(view: SetView) -> Iterator[Computation]:
    # Alcohol content is what says which fuel it is; without it air per fuel is not known.
    flow, ratio, alcohol = view.at("maf"), view.either("lambda", "bank 1"), view.at("fuel_alcohol")
    if flow is None or ratio is None or alcohol is None:
        return
    yield Computation(
        key="expected_fuel_flow",
        unit="g/s",
        sources=("maf", "lambda", "fuel_alcohol"),
        compute=partial(
            formulas_engine.expected_fuel_flow_g_s,
            air_flow_g_s=flow,
            lambda_ratio=ratio,
            stoichiometric=formulas_engine.stoichiometric_of_alcohol(alcohol_percent=alcohol),
        ),
    )


def _catalyst(view: SetView) -> Iterator[Computation]:
    for entry in view.entries("catalyst_temp"):
        words = (entry.place or "").split()
        if "in" not in words:
            continue
        after = view.at("catalyst_temp", " ".join("out" if w == "in" else w for w in words))
        if after is not None:
            yield Computation(
                key="catalyst_temp_rise",
                unit="delta_degC",
                position=" ".join(word for word in words if word != "in") or None,
                sources=("catalyst_temp",),
                compute=partial(
                    formulas_engine.catalyst_temp_rise_k, in_degc=entry.value, out_degc=after
                ),
            )


def _compression(view: SetView) -> Iterator[Computation]:
    groups: dict[str | None, dict[str, float]] = {}
    for entry in view.entries("compression"):
        words = (entry.place or "").split()
        if not words or _OTHER_COMPRESSION & set(words):
            continue
        group = "wet" if "wet" in words else None
        place = " ".join(word for word in words if word not in {"dry", "wet"})
        groups.setdefault(group, {})[cylinder_of(place) or place] = entry.value
    for group, cylinders in groups.items():
        if len(cylinders) > 1:
            yield Computation(
                key="compression_spread",
                unit="percent",
                position=group,
                sources=("compression",),
                compute=partial(
                    formulas_engine.compression_spread_percent,
                    cylinders_kpa=tuple(cylinders.values()),
                ),
            )


def _relative_compression(view: SetView) -> Iterator[Computation]:
    peaks = [row for row in view.entries("cranking_current") if cylinder_of(row.place)]
    if len(peaks) < 2:
        return
    values = tuple(row.value for row in peaks)
    for number, row in enumerate(peaks, start=1):
        yield Computation(
            key="relative_compression",
            unit="percent",
            position=row.position,
            sources=("cranking_current",),
            compute=partial(
                formulas_engine.relative_compression_percent, peaks_a=values, which=number
            ),
        )


def _oil(view: SetView) -> Iterator[Computation]:
    speed = view.speed_rpm
    if speed is None or not view.is_warm:
        return
    for entry in view.entries("oil_pressure"):
        yield Computation(
            key="oil_pressure_per_1000",
            unit="psi",
            position=entry.position,
            sources=("oil_pressure", *view.speed_source),
            compute=partial(
                formulas_engine.oil_pressure_per_1000_psi,
                pressure_psi=convert(entry.value, "kPa", "psi"),
                speed_rpm=speed,
            ),
        )


ENGINE_RULES: Final[tuple[tuple[frozenset[str], Rule], ...]] = (
    (frozenset({"stft", "ltft"}), _trims),
    (frozenset({"exhaust_co2", "exhaust_co", "exhaust_o2", "exhaust_hc"}), _gas),
    (frozenset({"maf"}), _air_flow),
    (frozenset({"manifold_vacuum"}), _manifold),
    (frozenset({"fuel_pressure"}), _injector_difference),
    (frozenset({"injector_pulse"}), _injector_duty),
    (frozenset({"fuel_pressure_drop"}), _injector_balance),
    (frozenset({"maf", "lambda", "fuel_alcohol"}), _fuel_flow),
    (frozenset({"catalyst_temp"}), _catalyst),
    (frozenset({"compression"}), _compression),
    (frozenset({"cranking_current"}), _relative_compression),
    (frozenset({"oil_pressure"}), _oil),
)

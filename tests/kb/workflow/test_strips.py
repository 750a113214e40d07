import time
from dataclasses import replace

import pytest

from kb.case.model import Finding, Phase, Reading, ReadingSet, Response, Vehicle
from kb.case.terms import load_vocabulary
from kb.case.units import convert
from kb.diagnosis.causes import CauseModel
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.measures import Measure
from kb.workflow.strips import strips_of, units_typed
from tests.factories import a_job, a_reading

WORDS = load_vocabulary()
FAN, OVER = "condenser_fan_dead", "overcharge"
HIGH = "high_side_pressure"


def kpa(psi):
    return convert(psi, "psi", "kPa")


def model(*cases):
    features = [
        CaseFeatures(
            case=f"C{number:05}",
            cause=cause,
            measures=(Measure(key=key, value=value, what=key),),
        )
        for number, (cause, key, value) in enumerate(cases)
    ]
    return CauseModel(WORDS).fit(features, CaseIndex().fit(features))


def job(*readings, phase=Phase.BEFORE, **changes):
    return a_job(reading_sets=(ReadingSet(phase=phase, readings=readings),), **changes)


NOBODY = model((FAN, "vent_temp", 10.0))


def strips(made, fitted=NOBODY, causes=()):
    return {row.key: row for row in strips_of(made, fitted, causes)}


def test_values_are_kept_by_phase_in_the_unit_that_was_typed():
    made = a_job(
        reading_sets=(
            ReadingSet(readings=(a_reading(HIGH, "318", "psi"),)),
            ReadingSet(phase=Phase.AFTER, readings=(a_reading(HIGH, "1440", "kPa"),)),
        )
    )
    row = strips(made)[HIGH]
    assert row.unit == "psi"
    assert [(spot.phase, spot.said, spot.unit) for spot in row.spots] == [
        (Phase.BEFORE, "318", "psi"),
        (Phase.AFTER, "1440", "kPa"),
    ]
    assert row.spots[0].value == pytest.approx(318)
    assert row.spots[1].value == pytest.approx(convert(1440, "kPa", "psi"))


def test_the_band_and_its_condition_are_the_vocabularys():
    row = strips(job(a_reading(HIGH, "318", "psi")))[HIGH]
    known = WORDS.quantities[HIGH]
    assert row.band == pytest.approx([convert(end, "kPa", "psi") for end in known.typical or ()])
    assert row.band_when == known.typical_when
    low, high = row.band or (0.0, 0.0)
    assert row.telling == pytest.approx((318 - high) / (high - low))


def test_causes_lie_where_their_cases_read_in_the_same_unit():
    fitted = model((FAN, HIGH, kpa(300)), (FAN, HIGH, kpa(320)), (OVER, HIGH, kpa(280)))
    row = strips(job(a_reading(HIGH, "250", "psi")), fitted, [OVER, FAN])[HIGH]
    assert [(cause.cause, cause.count) for cause in row.causes] == [(OVER, 1), (FAN, 2)]
    assert row.causes[1].values == pytest.approx((300, 320))
    # Inside the band only the difference of the causes tells: 280 and 310 of 250 to 320.
    assert row.telling == pytest.approx((310 - 280) / (315 - 250))


def test_open_and_one_sided_readings_never_become_a_number():
    under = replace(a_reading("resistance", "<5", "ohm"), word="under")
    rows = (a_reading("resistance", "OL", "ohm", position="C101"), under)
    fitted = model((FAN, "resistance", 3.0))
    row = strips(job(*rows), fitted, [FAN])["resistance"]
    assert row.unread == ("C101 OL",)
    (spot,) = row.spots
    assert (spot.value, spot.bound) == (5.0, "under")
    assert "resistance" not in strips(job(rows[0]), fitted, [FAN])


def test_a_range_keeps_both_ends():
    (spot,) = strips(job(a_reading("vent_temp", "58-60", "degF")))["vent_temp"].spots
    assert (spot.low, spot.value, spot.high) == pytest.approx((58, 59, 60))


def test_derived_readings_name_what_they_come_from():
    rows = (a_reading("vent_temp", "68", "degF"), a_reading("ambient_temp", "91", "degF"))
    fitted = model((FAN, "= vent_over_ambient", -10.0))
    row = strips(job(*rows), fitted, [FAN])["= vent_over_ambient"]
    assert row.sources == tuple(WORDS.quantities[key].name for key in ("vent_temp", "ambient_temp"))
    assert (row.unit, row.band) == ("delta_degF", None)
    assert row.spots[0].value == pytest.approx(-23)
    assert row.causes[0].values == pytest.approx((-18,))


def test_a_derived_reading_is_said_in_a_unit_of_the_same_job():
    first = ReadingSet(readings=(a_reading(HIGH, "225", "psi"),))
    second = ReadingSet(readings=(a_reading("vent_temp", "60", "degF"),))
    made = a_job(reading_sets=(first, second), vehicle=Vehicle(refrigerant="R-134a"))
    assert units_typed(made, second) == ["degF", "psi", "degF"]
    fitted = model((FAN, "= saturation_temp|high side", 60.0))
    assert strips(made, fitted, [FAN])["= saturation_temp|high side"].unit == "degF"


def test_what_an_action_moved_is_a_value_of_its_time_once():
    moved = Response(
        quantity=HIGH, before_typed="318", after_typed="214", unit="psi",
        before=kpa(318), after=kpa(214),
    )  # fmt: skip
    finding = Finding(check="condenser_air_boost", outcome="no_change", responses=(moved, moved))
    made = job(a_reading(HIGH, "318", "psi"), findings=(finding,))
    spots = strips(made)[HIGH].spots
    assert [(spot.phase, spot.said) for spot in spots] == [
        (Phase.BEFORE, "318"),
        (Phase.DURING, "214"),
    ]


def test_the_most_telling_comes_first_and_a_lone_number_is_left_out():
    rows = (
        a_reading("low_side_pressure", "30", "psi"),
        a_reading(HIGH, "318", "psi"),
        Reading(quantity="something_own", typed="4", unit="turns", canonical=4.0),
    )
    found = strips_of(job(*rows), NOBODY, ())
    assert [row.key for row in found] == [HIGH, "low_side_pressure"]
    own = Reading(quantity="something_own", typed="5", unit="turns", canonical=5.0)
    assert "something_own" in strips(job(rows[2], own))


@pytest.mark.slow
def test_ten_thousand_cases_do_not_make_the_page_wait():
    fitted = model(*((FAN if n % 2 else OVER, HIGH, 1000.0 + n) for n in range(10_000)))
    made = job(*(a_reading(HIGH, str(200 + n), "psi") for n in range(20)))
    strips_of(made, fitted, [FAN, OVER])
    started = time.perf_counter()
    (row,) = strips_of(made, fitted, [FAN, OVER])
    # Some milliseconds here; the bound leaves room for a busy machine.
    assert time.perf_counter() - started < 0.25
    assert [cause.count for cause in row.causes] == [5000, 5000]

"""What changed between two sets of the same job."""

from dataclasses import replace

import pytest

from kb.case.derived import differences
from kb.case.model import Phase, Reading, ReadingSet, Vehicle
from tests.kb.case.worked_examples import set_of


def changed(before: ReadingSet, after: ReadingSet):
    rows = differences(before, after, vehicle=Vehicle(refrigerant="R-134a"))
    return {(row.key, row.position): row for row in rows}


IDLE = set_of(
    "stft 6 percent @ bank 1",
    "ltft 15 percent @ bank 1",
    "stft 1 percent @ bank 2",
    "ltft 2 percent @ bank 2",
    state=("engine_hot", "at_idle"),
)
FAST = set_of(
    "stft 0.5 percent @ b1",
    "ltft 3 percent @ b1",
    "stft 1 percent @ b2",
    "ltft 1 percent @ b2",
    state=("engine_hot", "2500 rpm"),
)


def test_a_temperature_change_is_a_difference_and_not_a_temperature():
    row = changed(set_of("vent_temp 68 degF"), set_of("vent_temp 50 degF"))[
        "vent_temp_change", None
    ]
    assert row.value == pytest.approx(-10.0)
    assert (row.unit, row.sources) == ("delta_degC", ("vent_temp",))


def test_only_the_same_position_is_compared():
    rows = changed(
        set_of("tyre_pressure 200 kPa @ LF", "tyre_pressure 210 kPa @ RF"),
        set_of("tyre_pressure 220 kPa @ lf", "tyre_pressure 230 kPa @ RR"),
    )
    assert [(key, round(row.value, 6)) for key, row in rows.items()] == [
        (("tyre_pressure_change", "LF"), 20.0)
    ]


def test_a_reading_in_one_set_only_gives_no_change():
    assert changed(set_of("vent_temp 68 degF"), set_of("coolant_temp 190 degF")) == {}


def test_a_word_in_place_of_a_number_gives_no_change():
    assert changed(set_of("resistance OL ohm"), set_of("resistance 12 ohm")) == {}


def test_derived_readings_change_too():
    rows = changed(
        set_of("heater_in_temp 149 degF", "heater_out_temp 101 degF"),
        set_of("heater_in_temp 184 degF", "heater_out_temp 158 degF"),
    )
    row = rows["heater_core_drop_change", None]
    assert row.value == pytest.approx((26 - 48) * 5 / 9)
    assert row.unit == "delta_degC"
    assert row.sources == ("heater_in_temp", "heater_out_temp")


@pytest.mark.source("trade reference, section 3", "trim_idle_minus_load: 21.0 and 3.5")
@pytest.mark.parametrize("order", [(IDLE, FAST), (FAST, IDLE)])
def test_trim_at_idle_less_trim_at_speed_does_not_depend_on_the_order(order):
    rows = {
        (row.key, (row.position or "")[-1:]): row.value
        for row in differences(*order, vehicle=Vehicle())
    }
    assert rows["trim_idle_minus_load", "1"] == pytest.approx(17.5)
    assert rows["trim_idle_minus_load", "2"] == pytest.approx(1.0)


@pytest.mark.parametrize("state", [("engine_hot", "under_load"), ("at_cruise",)])
def test_load_may_be_said_without_a_speed(state):
    loaded = set_of("stft 0.5 percent @ bank 1", "ltft 3 percent @ bank 1", state=state)
    assert changed(IDLE, loaded)["trim_idle_minus_load", "bank 1"].value == pytest.approx(17.5)


def test_two_sets_at_idle_have_no_trim_between_idle_and_load():
    assert not [key for key, _ in changed(IDLE, IDLE) if key == "trim_idle_minus_load"]


def test_sets_with_a_repair_between_them_have_no_trim_between_idle_and_load():
    repaired = replace(FAST, phase=Phase.AFTER)
    assert not [key for key, _ in changed(IDLE, repaired) if key == "trim_idle_minus_load"]


def test_sets_whose_load_is_not_known_have_no_trim_between_idle_and_load():
    unknown = set_of("stft 0.5 percent @ bank 1", "ltft 3 percent @ bank 1")
    assert not [key for key, _ in changed(IDLE, unknown) if key == "trim_idle_minus_load"]


def test_each_key_and_position_comes_once():
    before = set_of("hv_cell_max 3.9 V", "hv_cell_min 3.8 V", "hv_cell_spread 100 mV")
    after = set_of("hv_cell_max 3.9 V", "hv_cell_min 3.89 V", "hv_cell_spread 10 mV")
    rows = differences(before, after, vehicle=Vehicle())
    assert [row.key for row in rows].count("hv_cell_spread_change") == 1


def test_a_quantity_that_the_vocabulary_does_not_hold_is_left_out():
    odd = ReadingSet(readings=(Reading(quantity="gone", typed="1", unit="V", canonical=1.0),))
    assert differences(odd, odd, vehicle=Vehicle()) == ()

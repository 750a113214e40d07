from random import Random

import pytest

from kb.case.model import Phase
from kb.case.terms import load_vocabulary
from kb.workflow.invented_readings import Readings

WORDS = load_vocabulary()
COURSE = {"readings": 1.0, "readings_after": 1.0}


def usual(quantity):
    """Return the usual band of a quantity, which must have one."""
    band = WORDS.quantities[quantity].typical
    assert band is not None
    return band


@pytest.fixture
def readings():
    return Readings(WORDS, COURSE)


@pytest.mark.parametrize("system", WORDS.baselines)
def test_readings_lie_within_what_can_be_and_after_the_repair_near_the_usual(readings, system):
    cause = next(key for key, row in WORDS.causes.items() if row.system == system)
    for seed in range(20):
        before, after = readings.of(Random(seed), system=system, cause=cause)
        assert (before.phase, after.phase) == (Phase.BEFORE, Phase.AFTER)
        pairs = zip(before.readings, after.readings, strict=True)
        assert all((a.quantity, a.position) == (b.quantity, b.position) for a, b in pairs)
        for row in (*before.readings, *after.readings):
            low, high = WORDS.quantities[row.quantity].hard
            assert low <= row.canonical <= high
        for row in after.readings:
            low, high = usual(row.quantity)
            middle, width = (low + high) / 2, high - low
            assert abs(row.canonical - middle) <= width


def test_a_cause_moves_the_same_readings_in_every_job(readings):
    system, cause = "starting_charging", "battery_failed"
    found: dict[str, list[float]] = {}
    for seed in range(200):
        before, _ = readings.of(Random(seed), system=system, cause=cause)
        for row in before.readings:
            found.setdefault(row.quantity, []).append(row.canonical)
    outside = {}
    for quantity, values in found.items():
        low, high = usual(quantity)
        outside[quantity] = sum(not low <= value <= high for value in values) / len(values)
    assert max(outside.values()) > 0.5
    assert min(outside.values()) < 0.1


def test_a_system_without_a_list_of_readings_has_none(readings):
    assert readings.of(Random(1), system="restraints", cause="seat_plug") == ()


def test_a_reading_is_typed_with_as_many_places_as_its_band_is_fine(readings):
    volts, temperature = WORDS.quantities["battery_voltage_rest"], WORDS.quantities["vent_temp"]
    assert readings.typed(volts, 12.4567, unit="V").typed == "12.46"
    assert readings.typed(temperature, 45.678, unit="degF").typed == "45.7"
    assert readings.typed(WORDS.quantities["stft"], -0.004, unit="percent").typed == "0.0"

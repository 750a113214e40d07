"""What the rules see of a reading set."""

import pytest

from kb.case.derived_view import SetView, corner_of, cylinder_of, place_of
from kb.case.model import Reading, ReadingSet, Vehicle


def view_of(*rows, state=(), vehicle=None, altitude_m=0.0) -> SetView:
    readings = tuple(
        Reading(quantity=name, typed="x", unit="x", canonical=value, position=place)
        for name, value, place in rows
    )
    return SetView(
        ReadingSet(readings=readings, state=state),
        vehicle=vehicle or Vehicle(),
        altitude_m=altitude_m,
    )


@pytest.mark.parametrize(
    ("typed", "place"),
    [
        ("Bank 1", "bank 1"),
        ("b2", "bank 2"),
        ("  LF   inner ", "lf inner"),
        ("", None),
        (None, None),
        (3, "3"),
    ],
)
def test_places_are_compared_in_one_spelling(typed, place):
    assert place_of(typed) == place


@pytest.mark.parametrize(
    ("place", "number"),
    [("cyl 3", "3"), ("3", "3"), ("cylinder 12", "12"), ("bank 1", None), (None, None)],
)
def test_a_cylinder_is_known_by_its_number(place, number):
    assert cylinder_of(place) == number


@pytest.mark.parametrize(
    ("place", "corner"),
    [
        ("lf", ("left", "front")),
        ("right rear", ("right", "rear")),
        ("rear left", ("left", "rear")),
        ("left", ("left", "")),
        ("left lower joint", None),
        (None, None),
    ],
)
def test_a_wheel_is_known_by_side_and_axle(place, corner):
    assert corner_of(place) == corner


def test_a_number_belongs_to_its_own_place_or_to_none():
    view = view_of(
        ("vent_temp", 10.0, "driver"),
        ("vent_temp", 12.0, "passenger"),
        ("ambient_temp", 30.0, None),
    )
    assert list(view.pairs("vent_temp", "ambient_temp")) == [
        ("driver", 10.0, 30.0),
        ("passenger", 12.0, 30.0),
    ]
    assert list(view.pairs("ambient_temp", "vent_temp")) == []


@pytest.mark.parametrize("value", [None, float("nan"), float("inf"), "12"])
def test_a_reading_without_a_number_is_left_out(value):
    assert view_of(("stft", value, None)).quantities == frozenset()


def test_engine_speed_is_read_before_it_is_taken_from_the_state():
    assert view_of(("engine_speed", 2400.0, None), state=("2500 rpm",)).speed_rpm == 2400.0
    assert view_of(state=("engine_hot", "full throttle 3,000 rpm")).speed_rpm == 3000.0
    assert view_of(state=("at_idle",)).speed_rpm is None


def test_displacement_is_taken_only_where_it_is_written_in_litres():
    assert view_of(vehicle=Vehicle(engine="2.0L petrol")).displacement_l == 2.0
    assert view_of(vehicle=Vehicle(engine="W18P")).displacement_l is None
    assert view_of(vehicle=Vehicle()).displacement_l is None


@pytest.mark.source("ISO 2533 standard atmosphere", "500 m: 95.461 kPa; 1,609.344 m: 83.428 kPa")
def test_a_barometer_beats_the_altitude_of_the_set_which_beats_the_shop():
    barometer = ("barometric_pressure", 99.0, None)
    altitude = ("altitude", 1609.344, None)
    measured = view_of(barometer, altitude, altitude_m=500.0).barometer()
    written = view_of(altitude, altitude_m=500.0).barometer()
    shop = view_of(altitude_m=500.0).barometer()
    assert measured is not None
    assert written is not None
    assert shop is not None
    assert (measured[0].kpa, measured[1]) == (99.0, ("barometric_pressure",))
    assert (round(written[0].kpa, 3), written[1]) == (83.428, ("altitude",))
    assert (round(shop[0].kpa, 3), shop[1]) == (95.461, ())


@pytest.mark.parametrize("kpa", [0.0, -3.0, 1013.0])
def test_a_barometer_that_makes_no_sense_is_not_replaced_by_a_guess(kpa):
    assert view_of(("barometric_pressure", kpa, None)).barometer() is None


def test_an_altitude_that_makes_no_sense_gives_no_barometer():
    assert view_of(altitude_m=1e6).barometer() is None

"""The project's own table of units, held against Pint and against its limits."""

import itertools
import tomllib
from pathlib import Path

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

import kb
from kb.case.terms import load_vocabulary
from kb.case.units import (
    UNITS,
    convert,
    format_value,
    likely_units,
    parse_number,
    parse_value,
    to_canonical,
)
from kb.errors import LimitError, ParseError, UnitError

WORDS = load_vocabulary()
_VOCABULARY = Path(kb.__file__).parent / "vocabulary" / "quantities.toml"
PINT_NAMES = tomllib.loads(_VOCABULARY.read_text(encoding="utf-8"))["pint_names"]
# Differences of temperature are no unit of a quantity, so the vocabulary does not name them.
PINT_NAMES |= {"delta_degC": "delta_degC", "delta_degF": "delta_degF"}
REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()
REGISTRY.define("thirtysecond = inch / 32")

PAIRS = [
    (one.key, other.key)
    for one, other in itertools.permutations(UNITS.values(), 2)
    if one.kind == other.kind and one.key in PINT_NAMES and other.key in PINT_NAMES
]


def pint_value(value: float, source: str, target: str) -> float:
    quantity = REGISTRY.Quantity(value, PINT_NAMES[source])
    return float(quantity.to(PINT_NAMES[target]).magnitude)


def test_every_unit_of_the_table_has_a_pint_name():
    assert set(UNITS) - set(PINT_NAMES) == set()


@pytest.mark.source("Pint 0.25", "default unit registry")
@pytest.mark.parametrize(("source", "target"), PAIRS, ids=[f"{a} to {b}" for a, b in PAIRS])
@pytest.mark.parametrize("value", [-40.0, 0.0, 1.0, 36.5, 1234.5])
def test_every_pair_of_units_converts_as_pint_does(source, target, value):
    assert convert(value, source, target) == pytest.approx(
        pint_value(value, source, target), rel=1e-9, abs=1e-12
    )


@pytest.mark.source("NIST SP 811 (2008)", "appendix B, from memory")
@pytest.mark.parametrize(
    ("value", "source", "target", "expected"),
    [
        (1.0, "psi", "kPa", 6.894757),
        (1.0, "in", "mm", 25.4),
        (1.0, "lb", "g", 453.59237),
        (1.0, "mph", "km/h", 1.609344),
        (212.0, "degF", "degC", 100.0),
        (-40.0, "degC", "degF", -40.0),
        (1.0, "gal/h", "L/h", 3.785412),
        (1.0, "inHg", "kPa", 3.386389),
        (1.0, "inH2O", "Pa", 249.0889),
    ],
)
def test_conversions_agree_with_the_published_factors(value, source, target, expected):
    assert convert(value, source, target) == pytest.approx(expected, rel=2e-6)


@pytest.mark.source("trade reference, head rules of section 2", "computed with CoolProp and Pint")
def test_thirty_psi_gauge_is_206_8_kilopascal_gauge():
    assert convert(30, "psi", "kPa") == pytest.approx(206.843, abs=5e-4)


def test_a_temperature_and_a_difference_are_different_things():
    assert convert(5, "degC", "degF") == pytest.approx(41)
    assert convert(5, "delta_degC", "delta_degF") == pytest.approx(9)
    with pytest.raises(UnitError, match="temperature difference"):
        convert(5, "degC", "delta_degF")


@pytest.mark.parametrize(
    ("source", "target"), [("psi", "degF"), ("V", "A"), ("g", "g/s"), ("percent", "deg"),
                           ("rpm", "Hz"), ("1", "percent")]
)  # fmt: skip
def test_units_of_different_kinds_never_convert(source, target):
    with pytest.raises(UnitError, match="expected a unit of"):
        convert(1.0, source, target)


def test_letter_case_of_a_unit_counts():
    assert convert(1, "Mohm", "mohm") == pytest.approx(1e9)
    with pytest.raises(UnitError, match="expected a unit, got 'MV'"):
        convert(1, "MV", "V")


@given(st.sampled_from(PAIRS), st.floats(min_value=-1e6, max_value=1e6))
def test_a_conversion_there_and_back_gives_the_same_number(pair, value):
    source, target = pair
    back = convert(convert(value, source, target), target, source)
    assert back == pytest.approx(value, rel=1e-9, abs=1e-6)


@given(st.data())
def test_a_formatted_value_parses_back_to_the_same_number(data):
    quantity = WORDS.quantities[data.draw(st.sampled_from(sorted(WORDS.quantities)))]
    unit = data.draw(st.sampled_from(quantity.accepted))
    number = data.draw(st.floats(min_value=quantity.hard[0], max_value=quantity.hard[1]))
    typed, _, named = format_value(number, unit, quantity).partition(" ")
    value = parse_value(typed)
    assert named == unit
    assert value.low is not None
    slack = 1e-9 * max(abs(bound) for bound in quantity.hard)
    assert convert(value.low, unit, quantity.unit) == pytest.approx(number, rel=1e-9, abs=slack)


@pytest.mark.parametrize("key", sorted(WORDS.quantities))
def test_every_quantity_is_refused_outside_its_limits_and_taken_at_them(key):
    quantity = WORDS.quantities[key]
    low, high = quantity.hard
    span = high - low
    assert to_canonical(low, quantity.unit, quantity) == pytest.approx(low)
    assert to_canonical(high, quantity.unit, quantity) == pytest.approx(high)
    for value in (low - span - 1, high + span + 1):
        with pytest.raises(LimitError, match=f"expected {quantity.name.split(' (')[0]}"):
            to_canonical(value, quantity.unit, quantity)


@pytest.mark.parametrize(
    ("key", "value", "unit", "likely"),
    [
        ("low_side_pressure", 1500, "psi", "kPa"),
        ("vent_temp", 95, "degC", "degC"),
        ("battery_voltage_rest", 12600, "V", "mV"),
        ("coolant_temp", 400, "degC", "degF"),
        ("barometric_pressure", 29.9, "kPa", "inHg"),
        ("rotor_thickness", 1.0, "mm", "in"),
        ("fuel_rail_pressure", 2900, "MPa", "psi"),
    ],
)
def test_a_refused_value_names_the_unit_that_was_likely_meant(key, value, unit, likely):
    quantity = WORDS.quantities[key]
    assert likely in likely_units(value, quantity)
    if unit != likely:
        with pytest.raises(LimitError, match=f"did you mean.*{likely}"):
            to_canonical(value, unit, quantity)


def test_a_value_that_fits_no_unit_asks_to_check_the_number():
    with pytest.raises(LimitError, match="check the number"):
        to_canonical(99_999, "V", WORDS.quantities["supply_voltage"])


def test_gauge_pressure_is_not_taken_for_a_share():
    with pytest.raises(UnitError, match="write one of them"):
        to_canonical(30, "percent", WORDS.quantities["low_side_pressure"])


@pytest.mark.parametrize(
    ("text", "low", "high", "word"),
    [
        ("13.6-13.9", 13.6, 13.9, None),
        ("0.1 to 0.8", 0.1, 0.8, None),
        ("12,6", 12.6, 12.6, None),
        ("1,200", 1200, 1200, None),
        ("+21", 21, 21, None),
        ("−2", -2, -2, None),
        ("-5--2", -5, -2, None),
        (">160", 160, None, "over"),
        ("<5", None, 5, "under"),
        ("over 80", 80, None, "over"),
        ("OL", None, None, "open"),
        ("---", None, None, "no_reading"),
        (".5", 0.5, 0.5, None),
    ],
)
def test_a_typed_value_is_a_number_a_range_or_a_word(text, low, high, word):
    value = parse_value(text)
    assert (value.low, value.high, value.word, value.typed) == (low, high, word, text)


@pytest.mark.parametrize("text", ["", "abc", "1 2", "12.6.1", "1e5", "0x10", "9" * 100, "½"])
def test_what_is_no_number_is_refused_with_the_text_kept(text):
    with pytest.raises(ParseError, match="expected a number, a range") as caught:
        parse_value(text)
    assert caught.value.text == text


def test_a_comma_is_a_decimal_unless_three_digits_follow():
    assert parse_number("12,6") == pytest.approx(12.6)
    assert parse_number("12,600") == pytest.approx(12600)


def test_the_same_reading_widens_with_the_value_where_the_trade_says_so():
    cranking = WORDS.quantities["cranking_current"]
    assert cranking.likeness_tolerance(100) == pytest.approx(10)
    assert cranking.likeness_tolerance(400) == pytest.approx(32)


@pytest.mark.parametrize("text", ["nan", "inf", "-infinity", "1e999", "9" * 400])
def test_what_no_gauge_shows_is_no_number(text: str):
    with pytest.raises(ParseError, match="expected a number"):
        parse_number(text)

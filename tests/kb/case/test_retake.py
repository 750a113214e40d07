from dataclasses import replace

import pytest

from kb.case.model import Phase, ReadingSet
from kb.case.retake import after_sets, as_found, read_again, retaken
from kb.case.terms import load_vocabulary
from kb.errors import KBError, LimitError, UnitError
from tests.factories import a_job, a_reading

WORDS = load_vocabulary()
LOW = a_reading("low_side_pressure", "58", "psi")


def job(*sets):
    return a_job(reading_sets=sets)


def found(*readings, **known):
    return ReadingSet(readings=readings, **known)


def after(*readings, **known):
    return ReadingSet(phase=Phase.AFTER, readings=readings, **known)


def test_every_reading_as_found_is_asked_for_under_a_name_of_its_own():
    rows = as_found(job(found(LOW, a_reading(), a_reading()), after(a_reading(typed="40"))))
    assert [row.reading.quantity for row in rows] == ["low_side_pressure", "vent_temp", "vent_temp"]
    assert len({row.name for row in rows}) == 3


def test_the_name_of_a_reading_stays_while_others_come_and_go():
    before = as_found(job(found(LOW)))[0].name
    assert as_found(job(found(a_reading(), LOW), found(a_reading(typed="70"))))[1].name == before
    changed = replace(LOW, typed="59")
    assert as_found(job(found(changed)))[0].name != before


def test_a_reading_of_a_check_is_asked_for_only_where_it_was_not_read_without_it():
    rows = as_found(job(found(LOW), found(LOW, a_reading(), finding=0)))
    assert [row.reading.quantity for row in rows] == ["low_side_pressure", "vent_temp"]


@pytest.mark.parametrize(
    ("typed", "value", "unit"),
    [
        ("44", "44", "psi"),
        (" 44 psi ", "44", "psi"),
        ("44PSI", "44", "psi"),
        ("2.4 bar", "2.4", "bar"),
        ("1,9 bar", "1,9", "bar"),
        ("44-46", "44-46", "psi"),
        ("44 - 46 psi", "44 - 46", "psi"),
        ("−3 psi", "−3", "psi"),
        ("over 40 psi", "over 40", "psi"),
        ("44 #", "44", "psi"),
    ],
)
def test_a_value_is_read_in_the_unit_as_found_or_in_the_one_that_is_typed(typed, value, unit):
    row = read_again(WORDS, LOW, typed)
    assert (row.typed, row.unit, row.quantity) == (value, unit, "low_side_pressure")


def test_capitals_tell_milli_from_mega_and_a_word_of_the_meter_stays_a_word():
    ohm = a_reading("resistance", "5", "ohm")
    assert read_again(WORDS, ohm, "5 MΩ").unit == "Mohm"
    assert read_again(WORDS, ohm, "5 mΩ").unit == "mohm"
    assert read_again(WORDS, ohm, "OL").word == "open"


def test_the_place_stays():
    assert read_again(WORDS, a_reading(position="driver"), "44").position == "driver"


def test_a_value_outside_the_hard_limits_names_the_likely_unit():
    with pytest.raises(LimitError, match="did you mean kPa"):
        read_again(WORDS, LOW, "300")


@pytest.mark.parametrize(
    ("typed", "error"), [("44 F", UnitError), ("44 bananas", UnitError), ("cold", KBError)]
)
def test_another_unit_or_no_value_is_refused(typed, error):
    with pytest.raises(error, match="expected"):
        read_again(WORDS, LOW, typed)


def test_sets_after_the_repair_keep_the_state_as_found():
    rows = as_found(job(found(LOW, state=("at_idle",)), found(a_reading(), state=("at_cruise",))))
    sets = after_sets([(row, row.reading) for row in rows])
    assert [(row.phase, row.state) for row in sets] == [
        (Phase.AFTER, ("at_idle",)),
        (Phase.AFTER, ("at_cruise",)),
    ]
    (one,) = after_sets([(row, row.reading) for row in rows], other_conditions="rain")
    assert one.state == ("other conditions: rain",)
    assert len(one.readings) == 2
    assert after_sets([]) == ()


def test_the_change_is_in_the_unit_as_found():
    (pair,) = retaken(job(found(LOW), after(a_reading("low_side_pressure", "2.4", "bar"))), WORDS)
    assert pair.before == LOW
    assert pair.change == pytest.approx(34.809 - 58, abs=0.01)  # 2.4 bar are 34.809 psi


def test_what_was_not_read_again_has_no_change_and_is_never_nought():
    first, second = retaken(job(found(LOW), after(a_reading())), WORDS)
    assert (first.before, first.after, first.change) == (LOW, None, None)
    assert (second.before, second.change) == (None, None)
    assert second.after == a_reading()


def test_readings_of_one_state_and_of_one_place_belong_together():
    pairs = retaken(
        job(
            found(a_reading(typed="61"), state=("at_idle",)),
            found(a_reading(typed="70"), state=("at_cruise",)),
            found(a_reading(typed="65", position="driver")),
            after(a_reading(typed="50"), state=("at_cruise",)),
            after(a_reading(typed="44"), state=("at_idle",)),
            after(a_reading(typed="48", position="driver")),
        ),
        WORDS,
    )
    assert [pair.after.typed for pair in pairs if pair.after] == ["44", "50", "48"]


def test_a_word_of_the_meter_has_no_change():
    ohm = a_reading("resistance", "5", "ohm")
    (pair,) = retaken(job(found(ohm), after(a_reading("resistance", "OL", "ohm"))), WORDS)
    assert pair.after is not None
    assert pair.change is None

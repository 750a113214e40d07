from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.case.amend_readings import (
    reading_at,
    readings_of,
    set_phase,
    set_place,
    set_quantity,
    set_unit,
    take_out,
)
from kb.case.model import Phase, ReadingSet
from kb.case.terms import load_vocabulary
from kb.case.units import UNITS
from kb.errors import LimitError, NotFoundError, UnitError, UnknownTermError
from tests.factories import a_job, a_reading

WORDS = load_vocabulary()
LOW = a_reading("low_side_pressure", "58", "psi")
HIGH = a_reading("high_side_pressure", "318", "psi")
VENT = a_reading("vent_temp", "68", "degF", position="driver")
JOB = a_job(
    reading_sets=(
        ReadingSet(readings=(LOW, HIGH)),
        ReadingSet(phase=Phase.DURING, state=("at_idle",), readings=(VENT,), finding=0),
    )
)


def others(job, index):
    return Counter(row for at, (_, row) in enumerate(readings_of(job)) if at != index)


@pytest.mark.source("6.894757 kPa a psi", "NIST SP 811 (2008), appendix B")
def test_another_unit_reads_the_same_typed_value_anew_and_nothing_else():
    job = set_unit(JOB, 1, "kPa", words=WORDS)
    row = reading_at(job, 1)
    assert (row.typed, row.unit) == ("318", "kPa")
    assert row.canonical == pytest.approx(318.0)
    assert reading_at(JOB, 1).canonical == pytest.approx(318 * 6.894757, rel=1e-6)
    assert others(job, 1) == others(JOB, 1)
    assert job.lines == JOB.lines


def test_a_value_that_cannot_be_right_in_the_unit_is_refused_and_the_likely_one_named():
    with pytest.raises(LimitError, match=r"got 318 bar; did you mean psi or kPa\?"):
        set_unit(JOB, 1, "bar", words=WORDS)


@pytest.mark.parametrize("unit", ["degF", "", "furlong", "<script>"])
def test_a_unit_of_something_else_is_refused_with_those_that_fit(unit):
    with pytest.raises(UnitError, match="psi, kPa, bar"):
        set_unit(JOB, 1, unit, words=WORDS)


def test_another_quantity_keeps_value_unit_and_place():
    row = reading_at(set_quantity(JOB, 2, "ambient_temp", words=WORDS), 2)
    assert (row.quantity, row.typed, row.unit) == ("ambient_temp", "68", "degF")
    assert row.position == "driver"


@pytest.mark.parametrize(
    ("quantity", "error"), [("vent_temp", UnitError), ("no_such", UnknownTermError)]
)
def test_a_quantity_that_does_not_fit_is_refused(quantity, error):
    with pytest.raises(error, match="expected"):
        set_quantity(JOB, 0, quantity, words=WORDS)


def test_a_place_is_set_and_taken_away():
    assert reading_at(set_place(JOB, 2, " passenger ", words=WORDS), 2).position == "passenger"
    assert reading_at(set_place(JOB, 2, "", words=WORDS), 2).position is None


def test_another_phase_moves_a_reading_into_a_set_of_its_own_with_the_state_kept():
    job = set_phase(JOB, 2, "after", words=WORDS)
    assert job.reading_sets == (
        JOB.reading_sets[0],
        ReadingSet(phase=Phase.AFTER, state=("at_idle",), readings=(VENT,)),
    )


def test_a_second_reading_of_the_phase_joins_the_set_that_is_there():
    job = set_phase(set_phase(JOB, 0, "after", words=WORDS), 0, "after", words=WORDS)
    after = [row for row in job.reading_sets if row.phase is Phase.AFTER]
    assert [row.readings for row in after] == [(LOW, HIGH)]
    assert all(row.readings for row in job.reading_sets)


def test_only_a_reading_of_a_check_joins_the_set_of_a_check():
    one = a_job(reading_sets=(
        ReadingSet(state=("at_idle",), readings=(VENT,), finding=0),
        ReadingSet(phase=Phase.AFTER, state=("at_idle",), readings=(LOW,)),
    ))  # fmt: skip
    job = set_phase(one, 1, "before", words=WORDS)
    assert [row.finding for row in job.reading_sets] == [0, None]


@pytest.mark.parametrize("phase", ["", "later", "BEFORE"])
def test_a_phase_that_is_none_is_refused(phase):
    with pytest.raises(UnknownTermError, match="before, during, after"):
        set_phase(JOB, 0, phase, words=WORDS)


def test_a_reading_taken_out_leaves_the_others_and_no_empty_set():
    job = take_out(JOB, 2, "", words=WORDS)
    assert job.reading_sets == JOB.reading_sets[:1]
    assert take_out(JOB, 0, "", words=WORDS).reading_sets[0].readings == (HIGH,)


@pytest.mark.parametrize("index", [-1, 3, 10**6])
@pytest.mark.parametrize("change", [set_unit, set_quantity, set_place, set_phase, take_out])
def test_a_reading_that_is_not_there_is_refused(index, change):
    with pytest.raises(NotFoundError, match="below 3"):
        change(JOB, index, "after", words=WORDS)


@given(
    quantity=st.sampled_from(sorted(WORDS.quantities)),
    number=st.integers(min_value=-50, max_value=5000),
    data=st.data(),
)
def test_a_unit_changed_there_and_back_is_the_same_job(quantity, number, data):
    accepted = WORDS.quantities[quantity].accepted
    first, second = data.draw(st.sampled_from(accepted)), data.draw(st.sampled_from(accepted))
    try:
        job = a_job(reading_sets=(ReadingSet(readings=(a_reading(quantity, str(number), first),)),))
        there = set_unit(job, 0, second, words=WORDS)
    except LimitError:
        return
    assert reading_at(there, 0).typed == str(number)
    assert set_unit(there, 0, first, words=WORDS) == job


@given(
    steps=st.lists(st.tuples(st.integers(min_value=0, max_value=2), st.sampled_from(list(Phase))))
)
def test_no_reading_is_lost_however_often_phases_change(steps):
    job = JOB
    for index, phase in steps:
        moved = reading_at(job, index)
        job = set_phase(job, index, phase, words=WORDS)
        assert (phase, moved) in [(group.phase, row) for group, row in readings_of(job)]
    assert others(job, None) == others(JOB, None)
    assert all(row.readings for row in job.reading_sets)


def test_every_unit_of_the_table_is_known_to_the_test_above():
    assert {unit for row in WORDS.quantities.values() for unit in row.accepted} <= set(UNITS)

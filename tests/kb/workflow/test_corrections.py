import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kb.case.amend_readings import readings_of
from kb.case.clarify import asked_back
from kb.case.derived import derive
from kb.case.model import JobState
from kb.errors import ConflictError, KBError, LimitError, NotFoundError, UnknownTermError
from kb.workflow.close import CloseAnswers, close_job
from kb.workflow.corrections import (
    Correction,
    answer,
    correct,
    corrected,
    leave,
    mark_of,
    read_lines,
)
from kb.workflow.jobs import Intake, add_text, draft_job, open_job
from kb.workflow.undo import undo_last

LINE = "cold on the road, warm at lights; low 58 hi 318 amb 91 vent 68F"


@pytest.fixture
def job(shop):
    return shop.write(open_job, Intake(text=LINE), words=shop.words, today=shop.today).job


def tap(shop, job, kind, index, what, value="", seen=""):
    wish = Correction(kind=kind, index=index, what=what, value=value, seen=seen)
    return shop.write(correct, job.id, wish, words=shop.words)


def open_keys(shop, job_id):
    with shop.store.read() as unit:
        lines = read_lines(unit.jobs.get(job_id), words=shop.words)
        return [row.key for row in asked_back(lines, unit.settled.of(job_id))]


def test_a_correction_is_one_save_one_line_of_history_and_can_be_undone(shop, job):
    tap(shop, job, "reading", 1, "unit", "kPa")
    now = shop.get(job.id)
    assert readings_of(now)[1][1].unit == "kPa"
    assert now.lines == job.lines == (LINE,)
    line = shop.history(job.id)[-1]
    assert (line.verb, line.what) == ("correct", "high_side_pressure 318 psi: unit kPa")
    assert len(shop.history(job.id)) == 2
    shop.write(undo_last, job.id, words=shop.words)
    assert shop.get(job.id) == job


def test_a_tap_that_changes_nothing_writes_nothing(shop, job):
    tap(shop, job, "reading", 1, "unit", "psi")
    assert len(shop.history(job.id)) == 1


@pytest.mark.parametrize(
    ("wish", "error"),
    [
        (("reading", 1, "unit", "bar"), LimitError),
        (("reading", 99, "unit", "kPa"), NotFoundError),
        (("reading", 1, "typed", "999"), UnknownTermError),
        (("reading", 1, "__class__", ""), UnknownTermError),
        (("job", 0, "out", ""), UnknownTermError),
    ],
)
def test_what_is_refused_leaves_the_job_as_it_was(shop, job, wish, error):
    with pytest.raises(error, match="expected"):
        tap(shop, job, *wish)
    assert shop.get(job.id) == job
    assert len(shop.history(job.id)) == 1


def test_a_late_tap_never_changes_another_piece(shop, job):
    seen = mark_of(readings_of(job)[1])
    tap(shop, job, "reading", 0, "out")
    with pytest.raises(ConflictError, match="another in its place"):
        tap(shop, job, "reading", 1, "unit", "kPa", seen=seen)
    tap(shop, job, "reading", 0, "unit", "kPa", seen=seen)
    assert readings_of(shop.get(job.id))[0][1].unit == "kPa"


def test_a_closed_job_is_corrected_no_more(shop, job):
    ended = CloseAnswers(end="no_fault_found")
    shop.write(close_job, job.id, ended, words=shop.words, today=shop.today)
    assert shop.get(job.id).state is JobState.CLOSED
    with pytest.raises(ConflictError, match="closed"):
        tap(shop, job, "reading", 1, "unit", "kPa")


def compression_ratio(job):
    rows = derive(job.reading_sets[0], vehicle=job.vehicle)
    return next(row.value for row in rows if row.key == "compression_ratio")


@pytest.mark.source("CR = p_high_abs / p_low_abs", "trade vocabulary, derived.toml")
def test_a_derived_reading_follows_a_corrected_unit(shop, job):
    # 318 psi is 2192.53 kPa, 58 psi is 399.90 kPa; the air adds 101.325 kPa to both.
    assert compression_ratio(job) == pytest.approx(2293.86 / 501.22, rel=1e-3)
    tap(shop, job, "reading", 0, "unit", "kPa")
    assert compression_ratio(shop.get(job.id)) == pytest.approx(2293.86 / 159.325, rel=1e-3)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(data=st.data())
def test_any_piece_of_a_line_changed_there_and_back_is_the_same_job(shop, data):
    job = draft_job(LINE, words=shop.words, today=shop.today).job
    index = data.draw(st.integers(min_value=0, max_value=3))
    row = readings_of(job)[index][1]
    unit = data.draw(st.sampled_from(shop.words.quantities[row.quantity].accepted))

    def put(at, key):
        wish = Correction(kind="reading", index=index, what="unit", value=key)
        return corrected(at, wish, words=shop.words)

    try:
        there = put(job, unit)
    except KBError:
        return
    assert there.lines == job.lines
    assert put(there, row.unit) == job


# --- what was asked back -------------------------------------------------------------------------

ASKED = "low side 2.5; comp 178"
UNIT, WORD = "low side 2.5 (line 1, sign 1)", "comp 178 (line 1, sign 15)"


@pytest.fixture
def asked(shop):
    return shop.write(open_job, Intake(text=ASKED), words=shop.words, today=shop.today).job


def test_an_answer_makes_the_value_part_of_the_job_and_is_not_asked_back(shop, asked):
    assert open_keys(shop, asked.id) == [UNIT, WORD]
    shop.write(answer, asked.id, UNIT, option="bar", words=shop.words)
    now = shop.get(asked.id)
    assert [(row.typed, row.unit) for _, row in readings_of(now)] == [("2.5", "bar")]
    assert now.lines == (ASKED,)
    assert open_keys(shop, asked.id) == [WORD]
    assert (shop.history(asked.id)[-1].verb, len(shop.history(asked.id))) == ("answer", 2)


def test_an_answer_about_a_check_sets_its_outcome(shop):
    text = "shop fan on condenser -> hi 318 to 214 x2"
    job = shop.write(open_job, Intake(text=text), words=shop.words, today=shop.today).job
    (key,) = open_keys(shop, job.id)
    shop.write(answer, job.id, key, option="pressure_falls_vent_cools", words=shop.words)
    now = shop.get(job.id)
    assert [row.outcome for row in now.findings] == ["pressure_falls_vent_cools"]
    assert open_keys(shop, job.id) == []


def test_what_is_left_as_typed_is_not_asked_back_and_changes_nothing_else(shop, asked):
    shop.write(leave, asked.id, WORD, words=shop.words)
    assert shop.get(asked.id) == asked
    assert open_keys(shop, asked.id) == [UNIT]
    assert shop.history(asked.id)[-1].what == f"{WORD} = as typed"


@pytest.mark.parametrize("verb", ["answer", "leave"])
def test_an_answer_taken_back_is_asked_again_and_back_again_is_not(shop, asked, verb):
    if verb == "answer":
        shop.write(answer, asked.id, UNIT, option="psi", words=shop.words)
    else:
        shop.write(leave, asked.id, UNIT, words=shop.words)
    after = shop.get(asked.id)
    shop.write(undo_last, asked.id, words=shop.words)
    assert shop.get(asked.id) == asked
    assert UNIT in open_keys(shop, asked.id)
    shop.write(undo_last, asked.id, words=shop.words)
    assert shop.get(asked.id) == after
    assert UNIT not in open_keys(shop, asked.id)


def test_the_same_words_typed_again_are_asked_again(shop, asked):
    shop.write(answer, asked.id, UNIT, option="bar", words=shop.words)
    shop.write(add_text, asked.id, "low side 2.5", words=shop.words)
    assert "low side 2.5 (line 2, sign 1)" in open_keys(shop, asked.id)


@pytest.mark.parametrize(
    ("key", "option", "error"),
    [
        (UNIT, "furlong", UnknownTermError),
        (UNIT, "", UnknownTermError),
        (WORD, "compressor", UnknownTermError),
        ("low side 2.5", "bar", NotFoundError),
        ("", "bar", NotFoundError),
    ],
)
def test_an_answer_that_does_not_fit_leaves_the_job_as_it_was(shop, asked, key, option, error):
    with pytest.raises(error, match="expected"):
        shop.write(answer, asked.id, key, option=option, words=shop.words)
    assert shop.get(asked.id) == asked
    assert open_keys(shop, asked.id) == [UNIT, WORD]


def test_an_answer_given_twice_counts_once(shop, asked):
    shop.write(answer, asked.id, UNIT, option="bar", words=shop.words)
    with pytest.raises(NotFoundError, match="answered already"):
        shop.write(answer, asked.id, UNIT, option="psi", words=shop.words)
    assert len(readings_of(shop.get(asked.id))) == 1

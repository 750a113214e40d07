from datetime import date

import pytest

from kb.case.model import FixKind, Phase, ReadingSet
from kb.case.parts import FittedPart
from kb.case.retake import as_found
from kb.case.terms import load_vocabulary
from tests.factories import a_job, a_reading
from web.close_form import MOST_OPTIONS, read_close_form

WORDS = load_vocabulary()
TODAY = date(2026, 5, 4)
LOW = a_reading("low_side_pressure", "58", "psi")
JOB = a_job(reading_sets=(ReadingSet(state=("at_idle",), readings=(LOW, a_reading())),))
LOW_FIELD, VENT_FIELD = (row.name for row in as_found(JOB))


def read(form, **known):
    return read_close_form(form, JOB, WORDS, today=TODAY, **known)


def test_an_empty_form_is_missing_everything_and_wrong_in_nothing():
    answers, errors = read({})
    assert not errors
    assert answers.end == "fixed"
    assert (answers.cause, answers.fix, answers.lesson) == (None, None, "")
    assert not [*answers.proofs, *answers.options, *answers.after_checks]


def test_a_full_form_becomes_the_four_answers():
    answers, errors = read(
        {
            "end": "workaround",
            "cause": " overcharge ",
            "method": "seen",
            "proof_text": " 130 g over ",
            "fix": "adjusted",
            "fix_text": "weighed in",
            "option_2": "recover and weigh",
            "price_2": "180",
            "remains_2": "nothing",
            "chosen": "2",
            "after_kind": "same_readings",
            "after_text": "hi 190",
            "lesson": " Ask about cans. ",
        }
    )
    assert not errors
    assert (answers.end, answers.cause, answers.fix) == (
        "workaround",
        "overcharge",
        FixKind.ADJUSTED,
    )
    assert [(row.method, row.text) for row in answers.proofs] == [("seen", "130 g over")]
    (option,) = answers.options
    assert (option.what, option.price_cents, option.chosen) == ("recover and weigh", 18000, True)
    assert [(row.kind, row.text) for row in answers.after_checks] == [("same_readings", "hi 190")]
    assert answers.lesson == "Ask about cans."


@pytest.mark.parametrize(
    ("typed", "cents"),
    [
        ("412", 41200),
        ("412.5", 41250),
        ("$1,412.05", 141205),
        ("412,50", 41250),
        ("1 412.00", 141200),
        ("€ 0.99", 99),
        ("", None),
    ],
)
def test_a_price_is_read_as_it_is_written(typed, cents):
    answers, errors = read({"option_1": "fan", "price_1": typed})
    assert not errors
    assert answers.options[0].price_cents == cents


@pytest.mark.parametrize("typed", ["lots", "1.234", "-5", "1.2.3", "9" * 10, "²", "1.²"])
def test_what_is_no_price_is_an_error_at_its_field(typed):
    _, errors = read({"option_3": "fan", "price_3": typed})
    assert list(errors.by_field) == ["price_3"]
    assert typed[:20] in errors.by_field["price_3"]


def test_a_price_without_a_choice_is_no_choice():
    answers, errors = read({"price_1": "lots"})
    assert not errors
    assert list(answers.options) == []


def test_words_without_a_method_ask_for_the_method():
    _, errors = read({"proof_text": "saw it"})
    assert list(errors.by_field) == ["method"]


def test_a_fix_of_no_known_kind_names_the_known_ones():
    answers, errors = read({"fix": "prayed"})
    assert answers.fix is None
    assert "replaced" in errors.by_field["fix"]


def test_up_to_three_proofs_are_read_each_with_its_photo():
    answers, errors = read(
        {
            "method": "seen",
            "proof_text": "rust",
            "photo": "aa",
            "method_2": "measured_out",
            "proof_text_2": "0.1 A",
            "method_3": "inferred",
        },
        photos={"aa"},
    )
    assert not errors
    assert [(row.method, row.text, row.photo) for row in answers.proofs] == [
        ("seen", "rust", "aa"),
        ("measured_out", "0.1 A", None),
        ("inferred", "", None),
    ]


def test_a_photo_of_another_job_is_refused():
    answers, errors = read({"method": "seen", "photo": "bb"}, photos={"aa"})
    assert answers.proofs[0].photo is None
    assert "a photo of this job" in errors.by_field["photo"]


def test_words_of_the_second_proof_ask_for_its_method():
    _, errors = read({"proof_text_2": "saw it"})
    assert list(errors.by_field) == ["method_2"]


def test_a_choice_in_the_list_of_all_causes_counts_before_the_likely_ones():
    assert read({"cause": "overcharge"})[0].cause == "overcharge"
    answers, _ = read({"cause": "overcharge", "other_cause": "starter_worn"})
    assert answers.cause == "starter_worn"


def test_the_second_cause_is_another_one():
    answers, errors = read({"cause": "overcharge", "second_cause": "condenser_fouled"})
    assert not errors
    assert answers.second_cause == "condenser_fouled"
    _, errors = read({"cause": "overcharge", "second_cause": "overcharge"})
    assert list(errors.by_field) == ["second_cause"]


def test_choices_carry_kind_and_risk_and_more_than_three_are_taken():
    form = {f"option_{n}": f"choice {n}" for n in range(1, MOST_OPTIONS + 1)}
    answers, errors = read(form | {"kind_5": "declined", "risk_5": "it may stall", "chosen": "5"})
    assert not errors
    assert len(answers.options) == MOST_OPTIONS
    fifth = answers.options[4]
    assert (fifth.kind, fifth.risk, fifth.chosen) == (FixKind.DECLINED, "it may stall", True)
    assert list(read({"option_1": "x", "kind_1": "magic"})[1].by_field) == ["kind_1"]


def test_readings_after_the_repair_are_read_with_their_units_and_what_is_empty_is_missing():
    answers, errors = read({LOW_FIELD: "2.4 bar", VENT_FIELD: " "})
    assert not errors
    (group,) = answers.after
    assert (group.phase, group.state) == (Phase.AFTER, ("at_idle",))
    (row,) = group.readings
    assert (row.quantity, row.typed, row.unit) == ("low_side_pressure", "2.4", "bar")


def test_nothing_read_again_is_no_reading_set():
    assert read({LOW_FIELD: "", VENT_FIELD: ""})[0].after == ()


@pytest.mark.parametrize(
    ("typed", "words"), [("300", "did you mean kPa"), ("44 bananas", "psi"), ("cold", "a number")]
)
def test_a_reading_that_cannot_be_is_an_error_at_its_field(typed, words):
    answers, errors = read({LOW_FIELD: typed, VENT_FIELD: "44"})
    assert list(errors.by_field) == [LOW_FIELD]
    assert words in errors.by_field[LOW_FIELD]
    assert [row.quantity for row in answers.after[0].readings] == ["vent_temp"]


def test_a_value_for_a_reading_that_was_changed_meanwhile_is_not_lost_in_silence():
    _, errors = read({"after_00000000_0": "44"})
    assert "'44'" in errors.by_field[""]
    assert not read({"after_00000000_0": ""})[1]


def test_other_conditions_stand_at_the_readings_and_in_the_after_check():
    answers, errors = read({LOW_FIELD: "40", "other_conditions": "cold rain today"})
    assert not errors
    assert answers.after[0].state == ("other conditions: cold rain today",)
    (check,) = answers.after_checks
    assert (check.kind, check.text) == (
        "not_proved",
        "same conditions not available: cold rain today",
    )
    answers, _ = read({"other_conditions": "rain", "after_kind": "same_drive", "after_text": "ok"})
    (check,) = answers.after_checks
    assert (check.kind, check.text) == ("same_drive", "ok; same conditions not available: rain")


def test_words_without_the_kind_of_after_check_ask_for_it():
    _, errors = read({"after_text": "drove it"})
    assert list(errors.by_field) == ["after_kind"]


@pytest.mark.parametrize("fix", ["workaround", "declined"])
def test_a_work_around_is_never_fixed(fix):
    assert list(read({"fix": fix})[1].by_field) == ["end"]
    assert not read({"fix": fix, "end": fix})[1]


def test_who_was_told_and_the_comeback_are_taken():
    answers, _ = read({"told": " the owner ", "comeback_of": "S1"})
    assert (answers.told, answers.comeback_of) == ("the owner", "S1")


# --- parts and the end of a work-around ----------------------------------------------------------


def test_the_parts_that_were_named_are_the_parts_fitted():
    answers, errors = read(
        {"part_1": " fan  relay ", "part_3": "fan", "supplier_3": "Northgate", "lot_3": "2631"}
    )
    assert not errors
    assert answers.parts == [
        FittedPart(part="fan relay"),
        FittedPart(part="fan", supplier="Northgate", lot="2631"),
    ]


@pytest.mark.parametrize("field", ["supplier_2", "lot_2"])
def test_a_supplier_or_a_lot_without_its_part_is_said_at_the_part(field):
    answers, errors = read({field: "Northgate"})
    assert list(errors.by_field) == ["part_2"]
    assert not answers.parts


@pytest.mark.parametrize("known", [{"end": "workaround"}, {"fix": "workaround", "end": "declined"}])
def test_a_work_around_may_say_to_which_day_it_should_last(known):
    answers, errors = read({**known, "until": "2026-05-04"})
    assert not errors
    assert answers.until == TODAY


@pytest.mark.parametrize(
    ("typed", "known"),
    [
        ("spring", {"end": "workaround"}),
        ("2026-02-30", {"end": "workaround"}),
        ("2026-05-03", {"end": "workaround"}),
        ("2026-09-30", {"end": "fixed", "fix": "replaced"}),
    ],
)
def test_a_day_that_cannot_be_one_is_said_at_its_field(typed, known):
    answers, errors = read({**known, "until": typed})
    assert list(errors.by_field) == ["until"]
    assert "expected" in errors.by_field["until"]
    assert answers.until is None

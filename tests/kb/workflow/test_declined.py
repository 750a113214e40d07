from datetime import date

import pytest

from kb.case.model import FixKind, Option
from kb.case.terms import load_vocabulary
from kb.workflow.declined import Choice, declined_sentence, is_left_undone, read_back, write_out

WORDS = load_vocabulary()
TODAY = date(2026, 5, 4)
REPAIR = Option(what="new brake hose", kind=FixKind.REPLACED, price_cents=18000, risk="none")
LEAVE = Option(what="leave it", kind=FixKind.DECLINED)


def choice(**known):
    values = {"end": "declined", "cause": "hose_collapsed", "fix": None, "options": ()}
    return Choice(**(values | known))


def chosen(row):
    return Option(what=row.what, kind=row.kind, chosen=True)


@pytest.mark.parametrize(
    ("known", "left"),
    [
        ({}, True),
        ({"end": "workaround"}, True),
        ({"end": "declined_before_proof"}, True),
        ({"end": "fixed"}, False),
        ({"end": "fixed", "fix": FixKind.DECLINED}, True),
        ({"end": "fixed", "options": (REPAIR, LEAVE)}, False),
        ({"end": "not_fixed"}, False),
        ({"end": "not_fixed", "options": (REPAIR, LEAVE)}, True),
        ({"end": "fixed", "options": (REPAIR, chosen(LEAVE))}, True),
        ({"end": "not_fixed", "options": (chosen(REPAIR), LEAVE)}, False),
    ],
)
def test_the_marked_choice_decides_else_the_end_and_the_fix(known, left):
    assert is_left_undone(choice(**known)) is left


def test_the_sentence_says_what_was_advised_the_danger_the_day_and_who_was_told():
    text = declined_sentence(
        choice(told=" Ms Orrin, by phone "), what="new brake hose", words=WORDS, today=TODAY
    )
    for part in (
        "We advised this repair: new brake hose.",
        "the car may not stop in time",
        "declined it on 2026-05-04",
        "Told of the danger: Ms Orrin, by phone.",
    ):
        assert part in text


def test_nobody_told_is_said_too():
    text = declined_sentence(choice(), what="hose", words=WORDS, today=TODAY)
    assert "Who was told is not written down." in text


def test_it_is_written_at_the_repair_that_was_not_chosen():
    first, second = write_out(choice(options=(chosen(LEAVE), REPAIR)), words=WORDS, today=TODAY)
    assert first.risk == ""
    assert second.risk.startswith("none Safety repair declined.")
    assert second.price_cents == 18000


def test_without_choices_the_usual_repair_is_added_as_advised():
    (row,) = write_out(choice(), words=WORDS, today=TODAY)
    assert row.what == WORDS.causes["hose_collapsed"].fix
    assert not row.chosen
    assert "Safety repair declined." in row.risk


@pytest.mark.parametrize(
    "known", [{"cause": "cabin_filter_blocked"}, {"cause": None}, {"end": "fixed"}]
)
def test_where_nobody_is_in_danger_nothing_is_added(known):
    assert write_out(choice(options=(REPAIR,), **known), words=WORDS, today=TODAY) == (REPAIR,)
    assert declined_sentence(choice(**known), what="x", words=WORDS, today=TODAY) == ""


def test_what_was_written_out_is_read_back_and_a_plain_risk_stays():
    assert read_back("may fade") == ("may fade", "")
    assert read_back("") == ("", "")
    out = write_out(
        Choice(
            end="declined", cause="hose_collapsed", fix=None, options=(), told="Mr. Ho, by phone"
        ),
        words=load_vocabulary(),
        today=date(2026, 5, 4),
    )
    assert read_back(out[0].risk) == ("", "Mr. Ho, by phone")
    assert read_back(f"may fade {out[0].risk}") == ("may fade", "Mr. Ho, by phone")

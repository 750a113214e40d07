from dataclasses import replace

import pytest

from kb.case.term_rows import Caution
from kb.diagnosis.checks import CheckAdvice, LookAdvice
from kb.diagnosis.proving import Look
from kb.workflow.suggest import Suggestion
from web.check_words import beside_words, check_rows, look_words, next_json
from web.layout import WIDTH

CAMERA = CheckAdvice(
    check="evap_camera",
    subject=None,
    bits=0.41237,
    minutes=60.0,
    opening=45.0,
    beside=(("door_camera", "intake door"), ("blower_feed", None)),
)
LOOK = LookAdvice(
    look=Look(
        cause="condenser_fan_dead", minutes=7.0, access="hood",
        check="fan_command_test", subject=None, outcome="no_run",
    ),
    minutes=8.04,
    expected=11.26,
    cautions=(Caution(key="k", level="stop", systems=(), text="Keep clear."),),
)  # fmt: skip
NEXT = Suggestion(
    matches=(), causes=(), checks=(CAMERA,), nothing_like_it=False, look=LOOK, settles=True
)


def test_what_lies_behind_the_same_access_is_named_with_the_minutes_of_its_opening(site):
    said = beside_words(CAMERA, site.words)
    assert said.startswith("Opening takes 45 min once; behind it too: ")
    assert said.endswith(f"intake door, {site.words.check_name('blower_feed')}")


def test_more_than_three_others_are_counted(site):
    many = replace(CAMERA, beside=(("blower_feed", None),) * 5)
    assert beside_words(many, site.words).endswith(" and 2 more")


@pytest.mark.parametrize("changes", [{"beside": ()}, {"opening": 1.0}])
def test_a_short_opening_or_nothing_behind_it_is_not_worth_a_line(site, changes):
    assert beside_words(replace(CAMERA, **changes), site.words) == ""


def test_the_look_names_cause_check_outcome_and_minutes(site):
    said = look_words(LOOK, site.words)
    for part in (
        "Go and look: Condenser fan or one speed dead.",
        site.words.check_name("fan_command_test"),
        "no run",
        "about 8 min",
        "about 11 min in all",
    ):
        assert part in said


def test_without_a_proving_check_the_part_itself_is_looked_at(site):
    plain = replace(LOOK, look=Look(cause="mouse in the airbox", minutes=30.0), minutes=30.0)
    said = look_words(plain, site.words)
    assert "The part itself, about 30 min" in said
    assert "proves" not in said


def test_the_look_comes_before_the_checks_and_its_cautions_are_said(site):
    rows = check_rows(NEXT, site.words)
    assert rows[0].startswith("Go and look")
    assert any(row.startswith("next check") for row in rows[1:])
    assert "STOP: Keep clear." in rows
    footer = site.words.caution_footer.split()
    assert " ".join(rows).split()[-len(footer) :] == footer
    assert all(len(row) <= WIDTH for row in rows)


def test_that_no_check_settles_it_is_said_with_or_without_a_look(site):
    none = replace(NEXT, checks=(), settles=False)
    assert "no listed check will settle this" in check_rows(none, site.words)
    assert check_rows(replace(none, look=None), site.words) == ["no listed check will settle this"]
    assert "no listed check will settle this" not in check_rows(NEXT, site.words)


def test_json_of_the_next_steps():
    found = next_json(NEXT)
    assert found["checks"] == [
        {
            "check": "evap_camera", "subject": None, "bits": 0.4124, "minutes": 60.0, "cautions": [],
            "with": [
                {"check": "door_camera", "subject": "intake door"},
                {"check": "blower_feed", "subject": None},
            ],
        }
    ]  # fmt: skip
    assert found["settles"] is True
    assert found["look"] == {
        "cause": "condenser_fan_dead", "check": "fan_command_test", "subject": None,
        "outcome": "no_run", "minutes": 8.0, "expected_minutes": 11.3, "cautions": ["Keep clear."],
    }  # fmt: skip
    none = next_json(replace(NEXT, checks=(), look=None, settles=False))
    assert none == {"checks": [], "settles": False, "look": None}

from dataclasses import replace

import pytest

from kb.case.terms import load_vocabulary
from kb.diagnosis.chances import CauseChance
from kb.diagnosis.expected import Expected
from kb.diagnosis.explain import Explanation, Point
from kb.retrieval.features import Token
from kb.workflow.suggest import Suggestion
from web.cause_words import (
    NO_CASE,
    cases_words,
    cause_cells,
    cause_json,
    lines_under,
    missing_words,
    nothing_words,
    point_words,
    reason_lines,
)

WORDS = load_vocabulary()
FAN = "condenser_fan_dead"
MISSING = Expected(
    item=Token(part="finding", field="relay_swap|", value="no_click", what=""),
    what="Exchange the relay: no click",
    counts="from the trade's list",
    nats=0.5,
)
WHY = Explanation(
    cause=FAN,
    witnesses=2,
    speaks_for=(Point(what="vent 69 degF", nats=1.25, counts="2 of 2 cases of this cause"),),
    speaks_against=(Point(what="few words in common", nats=-0.5),),
    rest=0.1,
    unknown=(MISSING,),
)


def a_chance(chance=0.6, cause=FAN, cases=("A", "B")):
    return CauseChance(cause=cause, chance=chance, cases=cases)


def suggestion(*causes):
    return Suggestion(matches=(), causes=causes, checks=(), nothing_like_it=False, reasons=(WHY,))


def test_a_cause_without_a_case_says_that_it_comes_from_the_catalogue():
    assert cases_words(a_chance(cases=())) == NO_CASE
    assert cases_words(a_chance(cause=None, cases=())) == ""


def test_of_many_cases_four_are_named_and_overturned_ones_are_called_so():
    assert cases_words(a_chance(cases=("A", "B", "C", "D", "E"))) == "A, B, C, D"
    fallen = Explanation(
        cause=FAN, witnesses=0, speaks_for=(), speaks_against=(), rest=0.0, unknown=()
    )
    assert cases_words(a_chance(), fallen) == "A, B; none of them stands"
    assert cases_words(a_chance(), WHY) == "A, B"


def test_a_point_is_said_with_its_counts_and_in_the_signs_of_the_trade():
    assert point_words(WHY.speaks_for[0]) == "vent 69 °F (2 of 2 cases of this cause)"
    assert point_words(WHY.speaks_against[0]) == "few words in common"


def test_what_speaks_for_it_comes_before_what_speaks_against_and_what_is_missing():
    lines = [line.strip() for line in reason_lines(WHY, 100)]
    assert lines == [
        "+1.2 vent 69 °F (2 of 2 cases of this cause)",
        "-0.5 few words in common",
        "?    Exchange the relay: no click (from the trade's list)",
    ]
    narrow = reason_lines(WHY, 40)
    assert max(map(len, narrow)) <= 40
    assert len({len(line) - len(line.lstrip()) for line in narrow}) == 2
    assert reason_lines(None, 100) == []


@pytest.mark.parametrize(("chance", "shown"), [(0.6, 3), (0.01, 3), (0.009, 0)])
def test_an_unlikely_cause_is_named_without_its_reasons(chance, shown):
    row = a_chance(chance)
    assert len(lines_under(row, suggestion(row), 100)) == shown


def test_something_else_has_no_reasons():
    row = a_chance(cause=None, cases=())
    assert lines_under(row, suggestion(row), 100) == []
    assert cause_cells(row, suggestion(row), WORDS) == ("60%", "something else", "")


def test_the_answer_where_no_case_fits_says_how_much_leads_and_what_to_do():
    found = suggestion(a_chance(0.4, cause=None, cases=()), a_chance(0.2))
    assert nothing_words(found) == (
        "Something that no case here shows leads with 40%. Take the usual readings, then ask again."
    )


def test_json_has_reasons_only_where_there_are_some():
    assert cause_json(a_chance(), None) == {"cause": FAN, "chance": 0.6, "cases": ["A", "B"]}
    made = cause_json(a_chance(), WHY)
    assert made["for"] == [
        {"what": "vent 69 degF", "counts": "2 of 2 cases of this cause", "weight": 1.25}
    ]
    assert made["against"] == [{"what": "few words in common", "counts": "", "weight": -0.5}]
    assert made["unknown"][0]["what"] == "Exchange the relay: no click"


@pytest.mark.parametrize("nats", [3.1, 12.0, -12.0])
def test_a_weight_of_any_length_stands_apart_from_its_words(nats):
    why = replace(WHY, speaks_for=(Point(what="words: no crank", nats=nats),), unknown=())
    assert f"{nats:+.1f} " in reason_lines(why, 90)[0]


def test_it_is_said_how_much_of_the_memory_did_not_answer():
    found = suggestion(a_chance())
    assert missing_words(found) == ""
    assert missing_words(replace(found, parts=4, missing=1)) == (
        "1 of the 4 parts of the memory did not answer just now: cases may be left out here and "
        "the chances may change. Ask again in a moment."
    )

import json
import re
from dataclasses import replace
from itertools import pairwise

import pytest

from kb.case.model import JobState
from kb.case.parse import Question, parse
from kb.workflow.jobs import draft_job
from tests.factories import a_case, a_closing, a_full_case, a_job
from web.check_words import check_rows
from web.layout import WIDTH
from web.report import (
    answer_json,
    answer_text,
    cause_rows,
    ended_as,
    job_text,
    json_line,
    match_rows,
    understood,
)

# The keys of design.md section 11, which other programs read.
KEYS = {
    "": {
        "asked",
        "matches",
        "causes",
        "checks",
        "settles",
        "look",
        "nothing_like_it",
        "parts",
        "missing_parts",
    },
    "asked": {"text", "symptoms", "readings", "codes", "findings", "unread"},
    "symptoms": {"text", "concept", "polarity", "conditions"},
    "readings": {"quantity", "value", "unit", "canonical", "phase"},
    "findings": {"check", "subject", "outcome"},
    "matches": {"case", "score", "chance", "cause", "standing", "origin", "reasons"},
    "reasons": {"part", "what", "weight"},
    "causes": {"cause", "chance", "cases"},
    "checks": {"check", "subject", "bits", "minutes", "cautions", "with"},
}
# The causes that are shown have these too.
REASONS = {"for", "against", "unknown"}
TYPED = (
    "cold on the road, warm at lights; hi 318 amb 91F vent 900F; P0301; "
    "shop fan on condenser -> hi 318 to 214 x2; replaced the fan relay, no change; volts 9"
)


@pytest.fixture
def asked(site):
    return parse(TYPED, words=site.words)


@pytest.fixture
def suggestion(site):
    memory = site.memory()
    return memory.suggest(a_job("", lines=(TYPED,)), top=3)


def test_the_answers_fit_a_terminal_of_100_columns(site, asked, suggestion):
    text = answer_text(asked, suggestion, site.words)
    lines = text.splitlines()
    # The sentence under the cautions is one line, so that it can be quoted whole.
    long = [line for line in lines if len(line) > WIDTH and line != site.words.caution_footer]
    assert WIDTH == 100
    assert long == []
    for title in ("Understood", "Seen before", "Likely causes", "Next check"):
        assert lines[lines.index(title) + 1] == "-" * len(title)


def test_what_was_understood_is_shown_a_line_a_kind(site, asked):
    text = "\n".join(understood(asked, site.words))
    for kind in ("symptoms", "readings", "codes", "findings", "refused"):
        assert re.search(rf"^{kind}  ", text, re.MULTILINE)
    assert "degF" not in text
    assert understood(parse("", words=site.words), site.words) == ["nothing understood; words only"]


def test_what_is_asked_back_names_what_may_be_meant(site):
    row = Question(text="9", start=0, end=1, why="which unit?", options=("degF", "degC"))
    lines = understood(replace(parse("", words=site.words), questions=(row,)), site.words)
    assert lines == ["asked back     9: which unit? (°F or °C)"]


def test_something_else_is_always_among_the_causes(site, suggestion):
    rows = cause_rows(suggestion, site.words)
    assert any("something else" in row for row in rows)
    assert len(rows) >= 3


def test_stop_cautions_come_first_at_most_five_and_with_the_footer(site, suggestion):
    levels = [row.split(":")[0] for row in check_rows(suggestion, site.words)]
    shown = [level for level in levels if level in {"STOP", "CARE", "NOTE"}]
    if shown:
        assert len(shown) <= 5
        assert shown == sorted(shown, key=lambda level: level != "STOP")
        said = " ".join(check_rows(suggestion, site.words))
        assert said.endswith(site.words.caution_footer)
    assert suggestion.checks


def test_a_shop_without_a_case_says_when_answers_come(site, asked):
    assert "the answers come with the first case" in answer_text(asked, None, site.words)
    answer = answer_json(asked, None)
    assert set(answer) == KEYS[""]
    assert (answer["matches"], answer["causes"], answer["nothing_like_it"]) == ([], [], True)
    assert (answer["checks"], answer["settles"], answer["look"]) == ([], False, None)


def test_json_has_exactly_the_keys_that_others_read(asked, suggestion):
    answer = json.loads(json_line(answer_json(asked, suggestion)))
    assert set(answer) == KEYS[""]
    assert set(answer["asked"]) == KEYS["asked"]
    for name, rows in (*answer.items(), *answer["asked"].items()):
        if isinstance(rows, list) and name in KEYS:
            assert rows, name
            assert all(set(row) - REASONS == KEYS[name] for row in rows)
    assert all(set(row) == KEYS["reasons"] for row in answer["matches"][0]["reasons"])
    assert answer["asked"]["text"] == TYPED
    assert answer["asked"]["codes"] == ["P0301"]


def test_the_causes_shown_bring_their_reasons_into_the_json_and_no_others(asked, suggestion):
    causes = {row["cause"]: row for row in answer_json(asked, suggestion)["causes"]}
    shown = {row.cause for row in suggestion.shown} - {None}
    assert len(shown) == 5
    for name, row in causes.items():
        assert set(row) == KEYS["causes"] | (REASONS if name in shown else set())
    fan = causes["condenser_fan_dead"]
    assert fan["for"][0]["weight"] > 0
    assert "1 of 1 case of this cause" in " ".join(row["counts"] for row in fan["for"])


def test_where_nothing_is_like_it_that_comes_first_and_the_nearest_come_last(site, asked):
    job = draft_job("a zorble noise", words=site.words, today=site.today).job
    found = site.memory().suggest(job, top=3)
    assert found.nothing_like_it
    text = answer_text(asked, found, site.words)
    titles = [line for line, under in pairwise(text.splitlines()) if under and set(under) == {"-"}]
    assert titles == [
        "Understood",
        "Nothing like it here yet",
        "Nearest cases only, none is like it",
        "Nearest causes only",
        "Checks between the nearest causes",
    ]
    assert "Take the usual readings, then ask again." in text
    assert max(len(line) for line in text.splitlines()) <= WIDTH


def test_each_reason_of_a_match_has_a_line_of_its_own(site, suggestion):
    rows = match_rows(suggestion, site.words)
    marks = [row[56:58] for row in rows[1:] if re.match(r"[+-]\d", row[56:58])]
    shown = sum(len(row.speaks_for) + len(row.speaks_against) for row in suggestion.matches)
    assert len(marks) == shown > 3


def test_the_causes_of_the_json_sum_to_one_with_something_else(asked, suggestion):
    causes = answer_json(asked, suggestion)["causes"]
    assert None in {row["cause"] for row in causes}
    assert sum(row["chance"] for row in causes) == pytest.approx(1, abs=0.05)


def test_json_is_one_line_and_keeps_its_letters():
    assert json_line({"a": "Zoë\n"}) == '{"a": "Zoë\\n"}'


def test_a_job_is_shown_with_complaint_cause_and_correction(site):
    text = job_text(a_full_case(), site.words)
    assert max(map(len, text.splitlines())) <= WIDTH
    for part in (
        "J900003\n-------",
        "complaint         blows warm at lights",
        "cause             Condenser fan or one speed dead",
        "proof             Seen directly: blades stand still",
        "correction        replaced: fan assembly",
        "did not cure      fan relay no change",
        "after the repair",
        "remember          Listen for the fan",
    ):
        assert part in text


def test_an_open_job_shows_no_cause(site):
    text = job_text(a_job(), site.words)
    assert "state             open" in text
    assert "\ncause" not in text


def test_what_a_job_turned_out_to_be_is_its_cause_or_its_end(site):
    assert ended_as(a_job(), site.words) == "open"
    assert ended_as(a_case(), site.words) == "Condenser fan or one speed dead"
    closing = a_closing(None, end="normal", proofs=())
    job = a_job(state=JobState.CLOSED, closing=closing)
    assert ended_as(job, site.words) == "behaves as designed"
    other = a_job(state=JobState.CLOSED, closing=a_closing(None, end="own_end", proofs=()))
    assert ended_as(other, site.words) == "own end"


def test_the_terminal_says_first_that_a_part_of_the_memory_did_not_answer(site, asked, suggestion):
    title = "Part of the memory is missing"
    assert title not in answer_text(asked, suggestion, site.words)
    short = replace(suggestion, parts=3, missing=2)
    told = answer_text(None, short, site.words)
    assert told.startswith(f"{title}\n")
    assert "2 of the 3 parts of the memory did not answer" in told
    made = answer_json(asked, short)
    assert (made["parts"], made["missing_parts"]) == (3, 2)

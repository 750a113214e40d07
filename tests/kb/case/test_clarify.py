from datetime import date
from pathlib import Path

import pytest
import tomli

from kb.case.amend_readings import readings_of
from kb.case.clarify import READ_AROUND, asked_back, open_point, point_key
from kb.case.parse import parse
from kb.case.terms import load_vocabulary
from kb.workflow.jobs import draft_job

WORDS = load_vocabulary()
TYPED = tomli.loads((Path(__file__).parent / "typed_lines.toml").read_text("utf-8"))["line"]


def points(text, settled=()):
    entry = draft_job(text, words=WORDS, today=date(2026, 5, 4))
    asked = asked_back((entry.parsed,), settled)
    return tuple(open_point(one, entry.job, words=WORDS) for one in asked)


def answers(text):
    (point,) = points(text)
    return {
        option: [
            (row.quantity, row.typed, row.unit, row.position)
            for group in gain.reading_sets
            for row in group.readings
        ]
        for option, gain in point.answers
    }


@pytest.mark.parametrize(
    ("text", "option", "read"),
    [
        ("low side 2.5", "bar", [("low_side_pressure", "2.5", "bar", None)]),
        ("ECT 95", "degC", [("coolant_temp", "95", "degC", None)]),
        ("O2 450 MV", "mV", [("o2_voltage", "450", "mV", None)]),
        ("resistance 5 mohm", "mohm", [("resistance", "5", "mohm", None)]),
        ("80 A", "Starter current", [("cranking_current", "80", "A", None)]),
        ("batt 13.1", "Charging voltage", [("battery_voltage_running", "13.1", "V", None)]),
        (
            "line pressure 150 psi", "Brake hydraulic pressure",
            [("brake_pressure", "150", "psi", None)],
        ),
        ("comp 178", "compression", [("compression", "178", "psi", None)]),
        (
            "36/190", "low side 36 psi, high side 190 psi",
            [("low_side_pressure", "36", "psi", None), ("high_side_pressure", "190", "psi", None)],
        ),
        (
            "trims 0/+1", "short-term 0, long-term +1",
            [("stft", "0", "percent", None), ("ltft", "+1", "percent", None)],
        ),
        ("hi 1400 after repair", "kPa", [("high_side_pressure", "1400", "kPa", None)]),
    ],
)  # fmt: skip
def test_an_answer_is_the_typed_value_with_the_meaning_that_was_chosen(text, option, read):
    assert answers(text)[option] == read


def test_an_answer_keeps_what_the_line_says_around_it():
    (point,) = points("after repair tft 180, 70 psi idle")
    (gain,) = [gain for option, gain in point.answers if option == "Engine oil pressure"]
    (group,) = gain.reading_sets
    assert (group.phase, group.state) == ("after", ("at_idle",))


def test_the_name_of_a_quantity_says_nothing_about_the_road():
    (point,) = [row for row in points("fuse 14 has 12 mv") if row.text == "12 mv"]
    gain = dict(point.answers)["Charging ripple"]
    assert [row.state for row in gain.reading_sets] == [()]


def test_a_code_typed_with_a_letter_is_answered_with_the_digit():
    (point,) = points("PO301")
    assert [row.code for row in dict(point.answers)["P0301"].codes] == ["P0301"]


def test_what_came_of_a_check_settles_the_finding_that_was_unclear():
    (point,) = points("shop fan on condenser -> hi 318 to 214 x2")
    gain = dict(point.answers)["pressure_falls_vent_cools"]
    assert (gain.finding, gain.outcome) == (0, "pressure_falls_vent_cools")


def test_a_settled_piece_is_open_no_more_and_the_same_words_elsewhere_are():
    key = point_key("low side 2.5", line=0, start=0)
    assert [row.key for row in points("low side 2.5")] == [key]
    assert points("low side 2.5", settled={key}) == ()
    assert points("then low side 2.5", settled={key})


def test_a_refused_value_says_why_and_offers_no_guess_where_nothing_fits():
    (point,) = points("vent temp 500")
    assert point.refused
    assert "check the number" in point.why
    assert point.answers == ()


@pytest.mark.parametrize("row", TYPED, ids=lambda row: row["text"][:40])
def test_no_answer_repeats_what_the_line_gave_already(row):
    text = row["text"]
    entry = draft_job(text, words=WORDS, today=date(2026, 5, 4))
    before = [reading for _, reading in readings_of(entry.job)]
    for point in points(text):
        assert set(dict(point.answers)) <= set(point.options)
        for option, gain in point.answers:
            gained = [reading for group in gain.reading_sets for reading in group.readings]
            assert gained or gain.codes or gain.outcome, option
            assert all(one.typed.strip("+-") in text for one in gained)
            assert not set(gained) & set(before)


def test_answers_cover_most_of_what_the_typed_lines_ask_back():
    asked = [point for row in TYPED for point in points(row["text"]) if point.options]
    answered = [point for point in asked if point.answers]
    assert len(answered) / len(asked) > 0.8


def test_a_line_that_was_understood_has_no_open_point():
    assert parse("vent 68F").questions == ()
    assert points("vent 68F") == ()


@pytest.mark.parametrize("gap", ["\n", " "])
def test_in_a_long_text_an_answer_is_read_from_the_words_around_it(gap, monkeypatch):
    read = []

    def noted(text, *, words):
        read.append(text)
        return parse(text, words=words)

    monkeypatch.setattr("kb.case.clarify.parse_again", noted)
    entry = draft_job(gap.join(["61F"] * 800), words=WORDS, today=date(2026, 5, 4))
    asked = asked_back((entry.parsed,), ())
    assert len(asked) == 800
    point = open_point(asked[400], entry.job, words=WORDS)
    gains = dict(point.answers)["Ambient air temperature"]
    assert [row.typed for group in gains.reading_sets for row in group.readings] == ["61"]
    assert max(map(len, read)) <= 2 * READ_AROUND + 100

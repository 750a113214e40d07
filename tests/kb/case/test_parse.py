"""The grammar of the bay: lines as typed, against what must be read from them."""

import tomllib
from dataclasses import replace
from pathlib import Path
from time import perf_counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb.case.model import Change, Phase
from kb.case.parse import MAX_TEXT, Parsed, parse, parse_again
from kb.case.terms import load_vocabulary
from kb.case.units import likely_units

WORDS = load_vocabulary()
LINES = tomllib.loads((Path(__file__).parent / "typed_lines.toml").read_text(encoding="utf-8"))[
    "line"
]


def readings(parsed: Parsed) -> list[str]:
    return [
        f"{row.quantity} {row.typed} {row.unit}" + (f" @ {row.position}" if row.position else "")
        for group in parsed.reading_sets
        for row in group.readings
    ]


def codes(parsed: Parsed) -> list[str]:
    return [
        " ".join(part for part in (row.code, row.module, row.status) if part)
        for row in parsed.codes
    ]


def what(parsed: Parsed) -> dict[str, object]:
    scan = parsed.scan is not None and parsed.scan.none_found
    return {
        "readings": readings(parsed),
        "codes": codes(parsed),
        "findings": [f"{row.check} {row.outcome}" for row in parsed.findings],
        "tried": [row.part for row in parsed.tried],
        "none_found": scan,
        "questions": len(parsed.questions),
        "refused": len(parsed.refused),
    }


@pytest.mark.parametrize("row", LINES, ids=[row["text"] for row in LINES])
def test_a_typed_line_gives_exactly_what_it_says(row):
    nothing = what(parse(""))
    expected = {key: row.get(key, empty) for key, empty in nothing.items()}
    assert what(parse(row["text"])) == expected


def test_a_line_that_is_read_again_says_what_it_said_by_the_words_it_is_read_with():
    words = load_vocabulary()
    own = replace(words, shop=replace(words.shop, set_aside=frozenset({"bzzt"})))
    for _ in range(2):
        for row in LINES:
            assert parse_again(row["text"], words=words) == parse(row["text"])
        assert [row.text for row in parse_again("bzzt", words=words).unread] == ["bzzt"]
        assert parse_again("bzzt", words=own).unread == ()


def test_short_lines_are_kept_as_read_and_long_ones_are_not():
    words = load_vocabulary()
    short, long = "batt 12.6", "batt 12.6; " * 40
    assert parse_again(short, words=words) is parse_again(short, words=words)
    assert parse_again(long, words=words) is not parse_again(long, words=words)
    assert parse_again(long, words=words) == parse(long)


def test_the_table_holds_at_least_150_lines():
    assert len(LINES) >= 150


def test_every_piece_shows_the_place_it_was_read_from():
    for row in LINES:
        parsed = parse(row["text"])
        rows = [(row.start, row.end, row.text) for row in parsed.pieces]
        rows += [(row.start, row.end, row.text) for row in parsed.unread]
        rows += [(row.start, row.end, row.text) for row in parsed.questions]
        rows += [(row.start, row.end, row.text) for row in parsed.refused]
        assert [parsed.text[start:end] for start, end, _ in rows] == [text for *_, text in rows]


def test_a_response_keeps_both_values_and_the_count():
    finding = parse("shop fan on condenser -> hi 318 to 214 x2").findings[0]
    response = finding.responses[0]
    assert finding.repeats == 2
    assert (response.quantity, response.before_typed, response.after_typed, response.unit) == (
        "high_side_pressure", "318", "214", "psi",
    )  # fmt: skip
    assert response.before == pytest.approx(2192.53, abs=0.01)


def test_a_swap_keeps_its_subject_and_the_code_it_led_to():
    finding = parse("P0301, swapped coil w/ 3 -> P0303").findings[0]
    assert (finding.subject, finding.note) == ("3", "then P0303")


def test_no_change_is_kept_as_a_response():
    finding = parse("swapped relays, no change").findings[0]
    assert [row.change for row in finding.responses] == [Change.SAME]


def test_readings_before_and_after_the_repair_are_never_mixed():
    sets = parse("before vent 71, after vent 45").reading_sets
    assert [(row.phase, row.readings[0].typed) for row in sets] == [
        (Phase.BEFORE, "71"), (Phase.AFTER, "45"),
    ]  # fmt: skip


def test_the_phase_given_holds_where_the_text_is_silent():
    assert parse("vent 45", phase=Phase.AFTER).reading_sets[0].phase is Phase.AFTER


def test_a_state_goes_to_the_readings_of_its_clause():
    sets = parse("vent 68 at idle, vent 44 at 1500 rpm").reading_sets
    assert [row.state for row in sets] == [("at_idle",), ("1500 rpm",)]


def test_the_condition_of_a_complaint_is_not_the_state_of_a_reading():
    sets = parse("warm in traffic, vent 68F").reading_sets
    assert sets[0].state == ()


@pytest.mark.parametrize(
    ("text", "states"),
    [
        ("batt 12.1 rest 7.8 crankin", [("at rest",), ("cranking",)]),
        ("batt 12.3 rest, 13.1 running", [("at rest",), ("engine_running",)]),
        ("vac 14 steady at idle, 17 at 2500", [("at_idle",), ("2500 rpm",)]),
        ("oil press 8 psi hot idle, 31 at 2000", [("at_idle",), ("2000 rpm",)]),
    ],
)
def test_the_state_behind_a_number_is_its_own(text, states):
    assert [row.state for row in parse(text).reading_sets] == states


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("smoke test 15 min, no leak", 15.0),
        ("pulled vac 28.5 inhg, holds 20 min", 20.0),
        ("dropped pan 1 hr, metal in it", 60.0),
        ("smoke test, misfires after 15 min", None),
        ("smoke test no leak", None),
    ],
)
def test_a_finding_keeps_the_minutes_it_took(text, minutes):
    assert [row.minutes for row in parse(text).findings] == [minutes]


@pytest.mark.parametrize(
    ("text", "option"),
    [
        ("14.2V", "Charging voltage"),
        ("80 A", "Starter current"),
        ("rf drags, 310F rf", "Rotor or drum temperature"),
    ],
)
def test_a_number_with_a_unit_and_no_name_is_asked_with_what_fits(text, option):
    (question,) = parse(text).questions
    assert option in question.options


@pytest.mark.parametrize(
    "text",
    [
        "20 A fuse blows",
        "jumped with 12 V",
        "after 45 min",
        "36 psi fuel hose",
        "12V battery is low",
        "5v reference missing",
    ],
)
def test_a_number_beside_a_thing_or_given_by_the_test_is_not_asked_about(text):
    assert parse(text).questions == ()


def test_a_word_with_two_meanings_is_settled_by_the_system():
    assert not parse("comp 178", system="engine_mechanical").questions
    assert parse("line pressure 150 psi", system="driveline").reading_sets


def test_a_refusal_names_the_unit_that_was_likely_meant():
    message = parse("low side 1200 psi").refused[0].message
    assert "kPa" in message


def test_the_cost_of_a_part_tried_is_kept_in_cents():
    assert parse("new coil $89.50, same").tried[0].cost_cents == 8950


def test_modules_that_answered_are_kept_with_the_scan():
    scan = parse("no codes in engine, abs").scan
    assert scan is not None
    assert scan.modules == ("engine", "abs")


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("low side 58", "high side 58"),
        ("LTFT b1 +21", "LTFT b2 +21"),
        ("b1s1 0.4 V", "b1s2 0.4 V"),
        ("LF pads 4 mm", "RF pads 4 mm"),
        ("resistance 5 mΩ", "resistance 5 MΩ"),
        ("no codes", "codes cleared"),
        ("P0301 stored", "P0301 current"),
        ("pinched heater hoses, vent drops to 51", "pinched heater hoses, no change"),
        ("LTFT +18", "LTFT -18"),
        ("swapped coil, misfire moved", "swapped coil, no change"),
        ("before vent 71", "after vent 71"),
        ("smoke test no leak", "smoke test leak at boot"),
        ("vent 44 DS", "vent 44 PS"),
        ("low side 30 psi", "low side 30 kPa"),
    ],
)
def test_lines_that_look_alike_are_not_read_alike(one, other):
    first, second = parse(one), parse(other)
    assert (first.reading_sets, first.codes, first.scan, first.findings) != (
        second.reading_sets, second.codes, second.scan, second.findings,
    )  # fmt: skip


@pytest.mark.parametrize(
    "text",
    ["misfires 3 times a week", "hi 250, low 2 quarts", "5v reference missing", "max ac 3 days",
     "dies after 20 min", "running 10 min then dies"],
)  # fmt: skip
def test_a_count_of_something_else_is_no_reading(text):
    assert [row for row in readings(parse(text)) if not row.startswith("high_side")] == []


def test_words_that_nothing_understands_are_shown_as_unread():
    parsed = parse("flurble 68 quonk; vent 68F")
    assert any("flurble" in row.text for row in parsed.unread)


NAMED = {"low_side_pressure": "low side", "vent_temp": "vent", "coolant_temp": "ECT",
         "fuel_pressure": "fuel pressure", "parasitic_draw": "parasitic",
         "compression": "compression", "tread_depth": "tread"}  # fmt: skip


@given(st.data())
def test_a_value_inside_its_limits_parses_back_as_typed(data):
    quantity = WORDS.quantity(data.draw(st.sampled_from(sorted(NAMED))))
    unit = data.draw(st.sampled_from([u for u in quantity.accepted if u != "32nds"]))
    number = data.draw(st.integers(min_value=0, max_value=5000)) / 10
    if unit not in likely_units(number, quantity):
        return
    parsed = parse(f"{NAMED[quantity.key]} {number} {unit}")
    assert readings(parsed) == [f"{quantity.key} {number} {unit}"]


@settings(deadline=None, max_examples=200)
@given(st.text(max_size=120))
def test_any_text_is_kept_unchanged_and_never_raises(text):
    assert parse(text).text == text


@settings(deadline=None, max_examples=200)
@given(
    st.lists(
        st.sampled_from(
            [
                "low",
                "hi",
                "vent",
                "58",
                "318F",
                "->",
                "to",
                ",",
                ";",
                "/",
                "-",
                "OL",
                "x2",
                "swapped",
                "coil",
                "no",
                "codes",
                "P0301",
                "b1",
                "cyl",
                "3",
                "+2",
                "mΩ",
                "psi",
                "at",
                "idle",
                "same",
                "new",
                "$",
                "(",
                "#",
                "%",
                "drops",
            ]
        ),
        max_size=25,
    )
)
def test_any_order_of_known_words_is_read_without_error(parts):
    text = " ".join(parts)
    assert parse(text).text == text


HOSTILE = {
    "digits": "9" * 100_000,
    "brackets": "([" * 50_000,
    "dashes": "-" * 100_000,
    "control characters": "\x00\x01" * 50_000,
    "bidi": "\u202e12 psi" * 15_000,
    "readings": "low 58 " * 15_000,
    "slashes": "1/" * 50_000,
    "actions": "swapped coil " * 8_000,
    "parts": "new " * 25_000,
    "one long statement": "91 amb " * 15_000,
}


@pytest.mark.slow
@pytest.mark.parametrize("name", HOSTILE)
def test_a_hundred_thousand_characters_of_anything_answer_in_time(name):
    text = HOSTILE[name]
    parse("warm up")
    begin = perf_counter()
    parsed = parse(text)
    assert perf_counter() - begin < 2.0
    assert parsed.unread[-1].end == len(text) > MAX_TEXT

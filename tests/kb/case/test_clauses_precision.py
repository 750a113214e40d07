"""Wrong symptoms do more harm than none: lines that name none, and how often cases are met."""

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

from kb.case.clauses import read_clauses
from kb.case.model import Polarity, Symptom

ROOT = Path(__file__).resolve().parents[3]


def named(text: str) -> list[Symptom]:
    return [s for clause in read_clauses(text) for s in clause.symptoms if s.concept]


def present(text: str) -> set[str]:
    return {s.concept for s in named(text) if s.concept and s.polarity is not Polarity.NO}


@pytest.mark.parametrize(
    "line",
    [
        "low 58 hi 318 amb 91 vent 68",
        "P0301 stored in engine",
        "LTFT b1 +21 at idle, +2 at 2500",
        "pulled the fuse",
        "pulled fuse 14, no change",
        "pulled the bulb, corroded",
        "pulled connector at radiator fan",
        "pulled codes",
        "pulled heads, sent to machine shop",
        "red wire to pin 3",
        "drove it 20 miles",
        "customer drove it in",
        "if driven daily it is fine",
        "voltage drop .4 at ground",
        "draw .38 A",
        "vent 52 idle, 44 at 1500",
        "charge light off",
        "trans fluid red and full",
        "idle 750 rpm",
        "replaced front brake pads",
        "alternator output 14.2 V",
        "installed new radiator",
        "reset oil light",
        "stop light bulb replaced",
        "wheel bearing play none",
        "blower motor draws 12 A",
        "compressor runs quiet",
        "took off bumper to get at horn",
    ],
)
def test_a_line_of_work_or_numbers_names_no_symptom(line: str):
    assert present(line) == set()


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("sweats at every red light", "many_lamps_at_once"),
        ("window stops halfway", "charge_stops"),
        ("glass sits crooked in the door", "sits_low"),
        ("window slow and crooked", "sits_low"),
        ("contactors never pull in", "pulls_driving"),
        ("pulls strong on hills", "pulls_driving"),
        ("rough on gravel, dry", "rough_idle"),
        ("oil cap missing", "misfire_under_load"),
    ],
)
def test_a_word_of_two_meanings_is_not_taken_for_the_other(text: str, wrong: str):
    assert wrong not in present(text)


@pytest.mark.parametrize(
    ("text", "condition"),
    [
        ("cold at the hot setting", "cold_day"),
        ("misfire cylinder 3", "always"),
        ("heater blows cold air only", "cold_day"),
        ("right headlight out", "lights_on"),
    ],
)
def test_a_condition_that_was_not_said_is_not_made_up(text: str, condition: str):
    (symptom,) = named(text)

    assert condition not in symptom.conditions


@pytest.mark.parametrize(
    ("text", "concept"),
    [
        ("drips - none, oil leak not seen", "oil_leak"),
        ("no tick or knock", "engine_knock"),
        ("idle glass smooth", "rough_idle"),
        ("SRS lamp off", "airbag_lamp"),
        ("compressor runs quiet", "ac_noise_compressor"),
        ("not a shift flare", "shift_flare"),
        ("wheel shake at 60? none", "wheel_shake"),
    ],
)
def test_what_is_denied_is_not_present(text: str, concept: str):
    assert concept not in present(text)


def test_what_is_denied_after_its_word_is_kept_as_denied():
    (symptom,) = named("engine knock absent")

    assert symptom.concept == "engine_knock"
    assert symptom.polarity is Polarity.NO


def _case_symptoms() -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for path in sorted((ROOT / "seed_cases").glob("*.md")):
        head = tomllib.loads(path.read_text(encoding="utf-8").split("+++")[1])
        found += [row for row in head.get("symptom", []) if row.get("concept")]
    return found


def test_the_demonstration_cases_symptoms_are_met_and_seldom_missed():
    rows = _case_symptoms()
    right = wrong = 0
    for row in rows:
        got = {(s.concept, s.polarity is Polarity.NO) for s in named(row["text"])}
        met = (row["concept"], row.get("polarity", "yes") == "no") in got
        right += met
        wrong += bool(got) and not met

    assert len(rows) > 200
    assert right >= 0.8 * len(rows), f"{right} of {len(rows)} right"
    assert wrong <= 0.05 * len(rows), f"{wrong} of {len(rows)} wrong"


def test_talk_of_other_things_names_hardly_any_symptom():
    lines = (ROOT / "tests/sources/out_of_scope.jsonl").read_text(encoding="utf-8").splitlines()
    texts = [json.loads(line)["ask"] for line in lines if line.strip()]
    wrong = [text for text in texts if present(text)]

    assert len(texts) > 20
    assert len(wrong) <= 0.05 * len(texts), wrong


def test_lines_written_after_tuning_are_met():
    path = Path(__file__).parent / "unseen_lines.toml"
    lines = tomllib.loads(path.read_text(encoding="utf-8"))["line"]
    missed = [
        row["text"]
        for row in lines
        if (
            row["concept"] not in present(row["text"]) if "concept" in row else present(row["text"])
        )
    ]

    assert len(lines) >= 100
    assert len(missed) <= 0.05 * len(lines), missed

import time

import pytest

from kb.case.clauses import read_clauses
from kb.case.terms import load_vocabulary
from kb.workflow.packs.scan import BLANK, Blanked, Scanner, trade_words

WORDS = load_vocabulary()
PEOPLE = ("Ines Ferrand", "Bo", "Rusty", "Mark Hale")


@pytest.fixture(scope="module")
def scanner():
    return Scanner(WORDS, PEOPLE)


def test_what_was_found_is_blanked_and_told_in_its_order(scanner):
    text, taken = scanner.blank("call 555-0134 about ABC-1234, blows warm")
    assert text == f"call {BLANK} about {BLANK}, blows warm"
    assert taken == (Blanked("phone number", "555-0134"), Blanked("plate", "ABC-1234"))


def test_a_text_without_any_is_the_same_text(scanner):
    text = "cold on the road, warm at lights; hi 318 psi low 58 psi"
    assert scanner.blank(text) == (text, ())


def test_blanking_twice_finds_nothing_more(scanner):
    text, _ = scanner.blank("Mr Hale, 12 Oak Street, paid $95, VIN 1M8GDM9AXKP042788, 555-0134")
    assert scanner.blank(text) == (text, ())


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("Ines Ferrand checked", f"{BLANK} checked"),
        ("ferrand says no", f"{BLANK} says no"),
        ("per Bo and bo", f"per {BLANK} and bo"),
        ("Rusty found a rusty clamp", f"{BLANK} found a rusty clamp"),
        ("MARK drove it, mark on the rim", f"{BLANK} drove it, mark on the rim"),
    ],
)
def test_people_of_the_shop_are_blanked_and_words_of_the_trade_are_not(scanner, text, left):
    assert scanner.blank(text)[0] == left


def test_a_name_behind_customer_is_blanked_and_a_trade_word_is_not(scanner):
    assert scanner.blank("customer Jane says")[0] == f"customer {BLANK} says"
    for text in ("driver Window slow", "told Monday", "owner No start", "customer Brake noise"):
        assert scanner.blank(text) == (text, ())


def test_known_values_are_blanked_with_any_blanks_and_dashes(scanner):
    known = {"invoice number": ("A-77",), "VIN": ("KP042788",)}
    text, taken = scanner.blank("A 77 again, last eight kp0-42788; A-770", known)
    assert text == f"{BLANK} again, last eight {BLANK}; A-770"
    assert [row.kind for row in taken] == ["invoice number", "VIN"]


@pytest.mark.parametrize(
    "text",
    [
        "ｊａｎｅ＠example.com",
        "jane@exam\u200bple.com",
        "555\u20110134",
        "\u202e555-0134",
        "５５５-０１３４",
    ],
)
def test_signs_that_only_look_different_hide_nothing(scanner, text):
    clean, taken = scanner.blank(f"ask {text} today")
    assert len(taken) == 1
    assert not any(sign.isdigit() for sign in clean)
    assert "jane" not in clean


def test_a_blank_is_read_as_no_word_of_the_trade():
    for text in (f"no crank {BLANK}", f"{BLANK} no crank", f"no crank, {BLANK}"):
        (clause,) = [row for row in read_clauses(text, WORDS) if row.symptoms]
        (symptom,) = clause.symptoms
        assert symptom.concept == read_clauses("no crank", WORDS)[0].symptoms[0].concept
        assert symptom.position is None


@pytest.mark.parametrize(
    "piece", ["a", "1 ", "A1", "(5", "mr ", ".", "vin ", "12 A ", "call 1 2 3 ", "w@", "9 Ab Cd "]
)
def test_a_long_text_takes_no_longer_than_it_must(scanner, piece):
    text = piece * (20_000 // len(piece))
    started = time.process_time()
    scanner.blank(text)
    assert time.process_time() - started < 2


def test_trade_words_are_those_of_the_vocabulary():
    words = trade_words(WORDS)
    assert {"fan", "brake", "condenser"} <= words
    assert "ferrand" not in words

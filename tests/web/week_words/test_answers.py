from kb.case.terms import load_vocabulary
from kb.workflow.week.rows import Level, WeekRow
from kb.workflow.week.shares import share_of
from web.week_charts import picture_of
from web.week_words.rows import say

WORDS = load_vocabulary()
BAND = {
    "low": 0.8, "high": 0.9, "answers": 13, "said": 0.85, "right": 12, "interval": [0.667, 0.986],
}  # fmt: skip
HELPED = {
    "share": share_of(41, 60),
    "mrr": 0.71,
    "brier": 0.4,
    "usual": {"share": share_of(12, 60), "mrr": 0.2, "brier": 0.9},
    "bands": [BAND],
}


def row(kind, subject=(), **numbers):
    return WeekRow(kind=kind, subject=subject, level=Level.KNOW, numbers=numbers)


def test_whether_the_answers_helped_is_said_in_plain_words_with_what_it_is_held_against():
    told = say(row("answers_helped", **HELPED), WORDS)
    assert told.what == "The cause stood among the first 3 shown in 41 of 60 jobs."
    assert "41 of 60, with luck either way 56 to 79 %" in told.numbers
    assert "would have had it in 12 of 60" in told.numbers
    assert "0.71 (the most frequent causes: 0.20)" in told.numbers
    assert (
        "Where 80 to 90 % was said, it proved true 12 of 13 times, with luck either way 67 to 99 %"
    ) in told.numbers
    assert "Brier" not in told.numbers
    assert told.do == ""


def test_answers_worse_than_the_usual_causes_ask_for_something_to_be_done():
    worse = HELPED | {"share": share_of(2, 60)}
    assert "fitted anew" in say(row("answers_helped", **worse), WORDS).do
    alone = HELPED | {"usual": None}
    told = say(row("answers_helped", **alone), WORDS)
    assert "most frequent" not in told.numbers
    assert told.do == ""


def test_the_answers_have_a_picture_of_what_was_said_and_what_proved_true():
    made = picture_of(row("answers_helped", **HELPED))
    assert made is not None
    assert made.rows == (("80% to 90%", "13", "85%", "12 of 13 (92%)", "67% to 99%"),)


def test_new_ground_is_said_with_what_was_searched_for():
    told = say(row("new_ground", cases=1, of=9, searches=2, asked=["zorble", "frunk"]), WORDS)
    assert told.what == "1 case of the week had nothing like it here before."
    assert told.numbers == (
        "1 of 9 cases whose answers were kept. 2 searches found nothing: zorble; frunk."
    )
    assert "with care" in told.do
    only = say(row("new_ground", cases=0, of=9, searches=1, asked=["zorble"]), WORDS)
    assert only.what == "1 search of the week found nothing like it here."
    assert only.do == ""
    none = say(row("new_ground", cases=2, of=9, searches=0, asked=[]), WORDS)
    assert "found nothing" not in none.numbers


def test_a_mistaken_pair_is_said_with_the_check_that_tells_it_apart():
    pair = ("condenser_fan_dead", "low_charge_leak")
    numbers = {"share": share_of(3, 12), "apart": [["battery_test", 4]]}
    told = say(row("mixed_up", pair, **numbers), WORDS)
    assert told.what == (
        f"“{WORDS.cause_name(pair[0])}” stood first 3 times where "
        f"“{WORDS.cause_name(pair[1])}” was proven."
    )
    assert "3 of 12, with luck either way 9 to 53 %" in told.numbers
    assert f"{WORDS.check_name('battery_test')} (4 times)" in told.numbers
    assert "do the check" in told.do
    without = say(row("mixed_up", pair, **numbers | {"apart": []}), WORDS)
    assert "Look for a check" in without.do


def test_old_cases_are_counted_with_since_when_that_is_known():
    told = say(row("old_knowledge", cases=2, of=40, causes=1, since="2025-02-03"), WORDS)
    assert told.what.startswith("2 cases older than 36 months stand alone")
    assert "2 of 40 cases older than 36 months, 1 cause; no close since 2025-02-03" in told.numbers
    one = say(row("old_knowledge", cases=1, of=40, causes=1, since="2025-02-03"), WORDS)
    assert one.what.startswith("1 case older than 36 months stands alone")

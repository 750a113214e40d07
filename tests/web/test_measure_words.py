"""What measuring found, in words: counts first, shares with their luck, and a verdict."""

from typing import Any

from kb.diagnosis.measure import Answered, score_causes
from kb.diagnosis.reliability import score_reliability
from web.measure_words import chance_lines, foreman_lines, measure_lines


def told(chances, truths) -> dict[str, Any]:
    rows = [
        Answered(causes=("a", "b", None), chances=(chance, 1 - chance, 0.0), truth=truth)
        for chance, truth in zip(chances, truths, strict=True)
    ]
    return score_causes(rows) | score_reliability(rows)


def test_the_foreman_reads_counts_before_shares():
    known = told([0.95] * 30 + [0.5] * 10, ["a"] * 36 + ["b"] * 4)
    whole = told([0.95] * 55, ["a"] * 46 + ["c"] * 9)
    text = "\n".join(foreman_lines({**whole, "seen_before": known}))
    assert "Of the 40 whose cause had been here before" in text
    assert "came first in 36 (90%)" in text
    assert "among the first three in 40 (100%" in text
    assert "Said 90% to over 99%: 30 of 30 proved true, so take it as 100%." in text
    assert "Said 40% to 60%: 6 of 10 proved true." in text
    assert "The other 15 had a cause that was new to the shop" in text
    assert "among the first three in 6 (40%)" in text


def test_a_memory_that_is_too_sure_of_itself_is_called_so():
    sure = told([0.95] * 40, ["a"] * 20 + ["b"] * 20)
    assert "surer than it should be, by 45%" in foreman_lines({**sure, "seen_before": sure})[-1]
    fair = told([0.5] * 40, ["a"] * 20 + ["b"] * 20)
    assert "as they stand" in foreman_lines({**fair, "seen_before": fair})[-1]


def test_few_jobs_are_called_few_and_none_nothing():
    few = told([0.95], ["a"])
    assert "Too few" in "\n".join(foreman_lines({**few, "seen_before": few}))
    assert "Nothing to measure" in foreman_lines({"queries": 0, "seen_before": {"queries": 0}})[0]


def test_tables_show_their_counts():
    lines = chance_lines(told([0.95, 0.95, 0.5, 0.5], ["a", "a", "a", "b"]))
    assert any("2 = 100%" in line for line in lines)
    assert any("1 = 25.0%" in line for line in lines)


def test_measures_are_named_one_a_line():
    lines = measure_lines({"queries": 3, "ece": 0.12345, "never_stored": {"auc": 0.9}})
    assert lines == ["queries: 3", "ece: 0.1235", "never stored:", "  auc: 0.9000"]

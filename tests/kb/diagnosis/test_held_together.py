from datetime import date

import numpy as np
import pytest
from scipy.stats.contingency import odds_ratio

from kb.diagnosis.held_together import MOST_WORDS, log_odds, signs_of
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.measures import Measure
from kb.retrieval.pairwise import Recent, compare_all

DAY = date(2026, 1, 5)
CODE = Token(part="code", field="code|P0420", value="stored", what="code P0420")


def likeness(members, others):
    cases = [*members, *others]
    return compare_all([Recent(features=case, day=DAY) for case in cases])


def read(value, unit="psi"):
    return Measure(key="rail", value=value, what="rail", canonical="kPa", unit=unit)


def members(count=4, **kept):
    return [CaseFeatures(case=f"A{at}", **kept) for at in range(count)]


def others(count=40, **kept):
    return [CaseFeatures(case=f"B{at:02d}", **kept) for at in range(count)]


def signs(inside, outside):
    return signs_of(likeness(inside, outside), np.arange(len(inside)))


@pytest.mark.source("scipy.stats.contingency.odds_ratio", "sample odds ratio of doubled counts + 1")
def test_the_log_odds_are_those_of_a_table_with_half_a_job_added():
    table = [[2 * 5 + 1, 2 * 1 + 1], [2 * 9 + 1, 2 * 391 + 1]]
    expected = np.log(odds_ratio(table, kind="sample").statistic)
    assert log_odds(5, 6, outside=9, others=400) == pytest.approx(expected)


def test_a_word_of_most_members_and_few_others_is_told_with_its_counts():
    rare = [CaseFeatures(case="B99", said="a whistle too")]
    found = signs(members(said="whistle at the roof"), [*others(said="no start today"), *rare])
    whistle = next(row for row in found if row.what == "whistle")
    assert (whistle.inside, whistle.size, whistle.outside, whistle.others) == (4, 4, 1, 41)
    assert {row.part for row in found} == {"words"}


def test_a_word_that_everybody_says_and_small_words_are_not_told():
    assert signs(members(said="no start it was"), others(said="no start it was")) == ()
    assert signs(members(said="it was in the of"), others(said="no start")) == ()


def test_a_single_word_is_not_told_beside_the_pair_it_stands_in():
    found = signs(members(said="roof whistle"), others(said="no start"))
    assert [row.what for row in found] == ["roof whistle"]


def test_what_less_than_half_of_the_members_have_is_not_told():
    some = [CaseFeatures(case=f"A{at}", tokens=(CODE,) if at < 2 else ()) for at in range(5)]
    assert signs(some, others()) == ()
    half = [CaseFeatures(case=f"A{at}", tokens=(CODE,) if at < 2 else ()) for at in range(4)]
    (told,) = signs(half, others())
    assert (told.part, told.what, told.inside, told.outside) == ("code", "code P0420", 2, 0)


def test_a_reading_is_told_where_few_others_lie_between_those_of_the_members():
    inside = [
        CaseFeatures(case=f"A{at}", measures=(read(value),))
        for at, value in enumerate((200.0, 204.0, 210.0))
    ]
    outside = [CaseFeatures(case=f"B{at:02d}", measures=(read(300.0 + at),)) for at in range(30)]
    (told,) = signs(inside, [*outside, CaseFeatures(case="B99", measures=(read(205.0),))])
    assert (told.part, told.what) == ("reading", "rail")
    assert (told.inside, told.size, told.outside, told.others) == (3, 3, 1, 31)
    # 200 and 210 kPa in psi.
    assert (told.span, told.unit) == ("29 to 30.5", "psi")
    wide = [CaseFeatures(case=f"A{at}", measures=(read(299.0 + 20 * at),)) for at in range(3)]
    assert signs(wide, outside) == ()


def test_no_more_words_are_told_than_a_page_can_show():
    words = " ".join(f"{first}{second}xx" for first in "abcdef" for second in "ghijk")
    assert len(signs(members(said=words), others(said="no start"))) == MOST_WORDS


def test_a_word_keeps_its_no_and_loses_other_small_words():
    found = signs(members(said="not cold at the vents"), others(said="brakes squeal"))
    assert {row.what for row in found} == {"not cold", "vents"}

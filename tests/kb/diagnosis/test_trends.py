import math
import time

import numpy as np
import pytest

from kb.diagnosis.arrivals import Series
from kb.diagnosis.rates import predictive_p
from kb.diagnosis.trends import CAUSES, PAIRS, find_trends, flagged_before, worth_splitting

WEEKS = 130
JOBS = [40.0] * WEEKS


def steady(key, each, *, group="g", recent=None, vehicles=None, weeks=WEEKS):
    """Return a series with an arrival every ``each`` weeks, and ``recent`` more in the last 8."""
    weekly = [1 if each and at % each == 0 else 0 for at in range(weeks)]
    for at in range(recent or 0):
        weekly[-1 - at % 8] += 1
    return Series(key=key, group=group, weekly=tuple(weekly), vehicles=vehicles)


def shop(*more):
    return [*more, *(steady(f"other {at}", 3 + at % 5) for at in range(80))]


def by_key(trends):
    return {trend.key: trend for trend in trends}


def test_a_cause_that_comes_far_more_often_is_an_alert_and_the_others_are_quiet():
    found = by_key(find_trends(shop(steady("a", 4, recent=14)), JOBS))
    assert found["a"].level == "alert"
    assert {row.level for key, row in found.items() if key != "a"} == {""}


def test_a_cause_that_comes_somewhat_more_often_is_watched():
    found = by_key(find_trends(shop(steady("a", 5, recent=6)), JOBS))["a"]
    assert found.level == "watch"
    assert found.new


def test_the_p_is_the_chance_foretold_from_the_weeks_before():
    rows = shop(steady("a", 5, recent=6))
    found = by_key(find_trends(rows, JOBS))["a"]
    mean = sum(sum(row.weekly[-112:-8]) for row in rows) / len(rows) / (104 * 40)
    assert found.season is not None
    by_hand = predictive_p(
        found.recent,
        found.before,
        recent_exposure=8 * 40 * found.season,
        before_exposure=104 * 40,
        mean=mean,
    )
    assert found.p == pytest.approx(by_hand)
    assert found.expected == pytest.approx(
        (1 + found.before) / (1 / mean + 104 * 40) * 8 * 40 * found.season
    )
    assert found.ratio == pytest.approx(found.recent / found.expected)


def test_a_ratio_lies_within_its_interval():
    for found in find_trends(shop(steady("a", 4, recent=14), steady("never", 0)), JOBS):
        low, ratio, high = (found.ratio_low, found.ratio, found.ratio_high)
        assert low is not None
        assert ratio is not None
        assert high is not None
        assert low <= ratio <= high < math.inf


def test_two_arrivals_or_two_vehicles_are_no_trend():
    rows = [steady(f"other {at}", 2) for at in range(5)]
    two = by_key(find_trends([*rows, steady("a", 0, recent=2)], JOBS))["a"]
    assert two.level == ""
    one_fleet = [*rows, steady("a", 0, recent=9, vehicles=2)]
    assert by_key(find_trends(one_fleet, JOBS))["a"].level == ""
    cars = [*rows, steady("a", 0, recent=9, vehicles=3)]
    assert by_key(find_trends(cars, JOBS))["a"].level == "alert"


def test_with_less_than_half_a_year_before_there_is_too_little_to_tell():
    rows = [steady("a", 0, recent=9, weeks=33), steady("b", 2, weeks=33)]
    for found in find_trends(rows, [40.0] * 33):
        assert found.level == ""
        assert found.p is found.expected is found.ratio is found.ratio_low is None
        assert found.season is None
    assert find_trends(rows, [40.0] * 33)[0].recent == 9


def test_before_sixty_weeks_a_trend_is_told_and_the_season_is_not_known():
    rows = [steady("a", 0, recent=9, weeks=50), steady("b", 2, weeks=50)]
    found = find_trends(rows, [40.0] * 50)[0]
    assert found.level == "alert"
    assert found.season is None


def test_everything_recorded_twice_as_often_is_no_trend():
    """A person who writes everything down doubles causes and jobs alike."""
    rng = np.random.default_rng(12)
    rates = np.full(WEEKS, 40.0)
    rates[-8:] *= 2
    counts = rng.poisson(rates / 40, (40, WEEKS))
    rows = [
        Series(key=str(at), group="g", weekly=tuple(row.tolist())) for at, row in enumerate(counts)
    ]
    by_jobs = find_trends(rows, counts.sum(axis=0).tolist())
    by_weeks = find_trends(rows, [40.0] * WEEKS)
    assert sum(row.level != "" for row in by_jobs) <= 1
    assert sum(row.level != "" for row in by_weeks) > 10


def test_weeks_without_jobs_are_no_exposure():
    closed = [40.0 if at % 10 else 0.0 for at in range(WEEKS)]
    rows = shop(steady("a", 5, recent=6))
    some = by_key(find_trends(rows, closed))["a"]
    assert some.expected is not None
    assert some.p is not None
    assert find_trends(rows, [*JOBS[:-8], *[0.0] * 8])[0].p is None


def test_a_row_may_be_held_against_the_jobs_of_its_own_model():
    weekly = (0,) * (WEEKS - 8) + (1,) * 8
    shared = Series(key="shared", group="g", weekly=weekly)
    own = tuple([1.0] * (WEEKS - 8) + [40.0] * 8)
    more_of_the_model = Series(key="own", group="g", weekly=weekly, exposure=own, usual=0.2)
    found = by_key(find_trends(shop(shared, more_of_the_model), JOBS))
    assert found["shared"].level == "alert"
    assert found["own"].level == ""


def test_news_is_what_no_recent_review_had():
    rows = shop(steady("a", 5, recent=6))
    assert by_key(find_trends(rows, JOBS, flagged={"a": "watch"}))["a"].new is False
    assert by_key(find_trends(rows, JOBS, flagged={"b": "watch"}))["a"].new is True
    worse = shop(steady("a", 4, recent=14))
    assert by_key(find_trends(worse, JOBS, flagged={"a": "watch"}))["a"].new is True
    assert by_key(find_trends(worse, JOBS, flagged={"a": "alert"}))["a"].new is False


def test_the_reviews_before_are_found_by_the_rule_itself():
    weekly = [1 if at % 10 == 0 else 0 for at in range(WEEKS)]
    for at in (-7, -6, -5, -4):
        weekly[at] += 3
    rows = shop(Series(key="a", group="g", weekly=tuple(weekly)))
    assert flagged_before(rows, JOBS)["a"] == "alert"
    assert flagged_before(rows, JOBS, reviews=3)["a"] == "alert"
    calm = shop(steady("a", 10))
    assert flagged_before(calm, JOBS) == {}


def test_a_rise_of_the_whole_system_at_this_time_of_the_year_is_its_season():
    wave = 1 + 0.8 * np.sin(2 * np.pi * (np.arange(1 - WEEKS, 1) + 17) / 52.18)
    rng = np.random.default_rng(21)
    counts = rng.poisson(1.5 * wave, (12, WEEKS))
    rows = [
        Series(key=str(at), group="cooling", weekly=tuple(row.tolist()))
        for at, row in enumerate(counts)
    ]
    found = find_trends(rows, JOBS)
    assert found[0].season is not None
    assert found[0].season > 1.4
    assert sum(row.level != "" for row in found) == 0
    flat = {"cooling": [18] * WEEKS}
    assert sum(row.level != "" for row in find_trends(rows, JOBS, flat)) > 0


def test_no_series_have_no_trends():
    assert find_trends([], JOBS) == ()
    assert flagged_before([], JOBS) == {}


def test_two_hundred_series_take_a_few_milliseconds():
    counts = np.random.default_rng(1).poisson(0.3, (200, 160))
    rows = [
        Series(key=str(at), group=str(at % 12), weekly=tuple(row.tolist()))
        for at, row in enumerate(counts)
    ]
    exposure = counts.sum(axis=0).tolist()
    best = math.inf
    for _ in range(5):
        start = time.perf_counter()
        find_trends(rows, exposure, rule=CAUSES)
        best = min(best, time.perf_counter() - start)
    assert best < 0.05


def test_causes_that_lean_upward_are_worth_splitting_and_others_are_not():
    found = find_trends(shop(steady("a", 5, recent=6), steady("never", 0)), JOBS)
    keys = worth_splitting(found)
    assert "a" in keys
    assert "never" not in keys
    assert keys == {row.key for row in found if row.p is not None and row.p < 0.2}
    assert worth_splitting(find_trends([steady("a", 0, recent=9, weeks=33)], [40.0] * 33)) == set()


def test_a_pair_asks_for_more_than_a_cause():
    rows = shop(steady("a", 5, recent=6))
    assert by_key(find_trends(rows, JOBS))["a"].level == "watch"
    assert by_key(find_trends(rows, JOBS, rule=PAIRS))["a"].level == ""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kb.diagnosis.survival import kaplan_meier, least_share, weibull

# Weeks in remission of 21 patients, + still in remission when last seen.
REMISSION = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
WEEKS = [float(word.rstrip("+")) for word in REMISSION.split()]
ENDED = [not word.endswith("+") for word in REMISSION.split()]
LIVES = st.lists(st.tuples(st.integers(0, 50), st.booleans()), min_size=1, max_size=40)


@pytest.mark.source(
    "Freireich et al. (1963), 6-MP in remission",
    "data and curve as printed in many textbooks, from memory",
)
def test_the_curve_of_a_published_trial():
    found = kaplan_meier(WEEKS, ENDED)
    assert list(found.times) == [6, 7, 10, 13, 16, 22, 23]
    assert [round(share, 3) for share in found.survival] == [
        0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448,
    ]  # fmt: skip
    assert found.at_risk == (21, 17, 15, 12, 11, 7, 6)
    assert found.failures == (3, 1, 1, 1, 1, 1, 1)


@pytest.mark.source("SciPy", "stats.ecdf of the same data, log-log interval")
def test_curve_and_interval_equal_a_reference_library():
    found = kaplan_meier(WEEKS, ENDED)
    seen = [w for w, ended in zip(WEEKS, ENDED, strict=True) if ended]
    open_ended = [w for w, ended in zip(WEEKS, ENDED, strict=True) if not ended]
    other = stats.ecdf(stats.CensoredData(uncensored=seen, right=open_ended)).sf
    limits = other.confidence_interval(method="log-log")
    at = np.searchsorted(other.quantiles, found.times)
    assert found.survival == pytest.approx(other.probabilities[at].tolist())
    assert found.low == pytest.approx(limits.low.probabilities[at].tolist())
    assert found.high == pytest.approx(limits.high.probabilities[at].tolist())


@given(LIVES)
def test_any_curve_equals_that_of_a_reference_library(lives):
    found = kaplan_meier(*zip(*lives, strict=True))
    other = stats.ecdf(
        stats.CensoredData.right_censored(*np.array([(d, not f) for d, f in lives]).T)
    ).sf
    at = np.searchsorted(other.quantiles, found.times)
    assert found.survival == pytest.approx(other.probabilities[at].tolist())


@given(LIVES)
def test_an_interval_contains_its_share_and_is_missing_only_where_none_is_left(lives):
    found = kaplan_meier(*zip(*lives, strict=True))
    for share, low, high in zip(found.survival, found.low, found.high, strict=True):
        if low is None or high is None:
            assert share == 0
        else:
            assert 0 < low <= share <= high < 1


@given(st.lists(st.integers(0, 50), min_size=1, max_size=40))
def test_without_anyone_lost_the_curve_is_the_plain_share(days):
    found = kaplan_meier(days, [True] * len(days))
    plain = [sum(day > time for day in days) / len(days) for time in found.times]
    assert found.survival == pytest.approx(plain)


@given(LIVES)
def test_the_curve_never_rises(lives):
    shares = (1.0, *kaplan_meier(*zip(*lives, strict=True)).survival)
    assert all(later <= earlier for earlier, later in pairwise(shares))


def test_the_curve_is_not_shown_where_few_are_left():
    found = kaplan_meier(WEEKS, ENDED)
    assert found.shown().times == found.times
    assert list(found.shown(least=7).times) == [6, 7, 10, 13, 16, 22]
    assert found.shown(least=22).times == ()


def test_the_share_after_a_number_of_days_stands_with_how_many_tell_it():
    found = kaplan_meier(WEEKS, ENDED)
    after = found.held(12)
    assert after is not None
    assert round(after.share, 3) == 0.753
    assert after.at_risk == sum(week >= 12 for week in WEEKS) == 12
    assert found.held(35) is None
    last = found.held(35, least=1)
    assert last is not None
    assert round(last.share, 3) == 0.448
    assert found.held(36, least=1) is None


def test_nobody_came_back_yet_is_no_certainty():
    early = kaplan_meier([30.0] * 8, [False] * 8).held(20)
    assert early is not None
    assert early.share == early.high == 1
    assert round(early.low, 2) == 0.69


def test_nothing_is_left_and_nothing_more_is_said():
    found = kaplan_meier([4.0] * 6, [True] * 6)
    assert found.survival == (0.0,)
    assert found.held(4) is None


def test_nobody_followed_says_nothing():
    found = kaplan_meier([], [])
    assert found.survival == ()
    assert found.held(0) is None


@pytest.mark.source("by hand", ".05^(1/n)")
@pytest.mark.parametrize(("n", "least"), [(5, 0.55), (8, 0.69), (15, 0.82), (30, 0.90), (60, 0.95)])
def test_without_a_comeback_the_least_share_that_holds(n, least):
    assert round(least_share(n), 2) == least
    assert least_share(n) ** n == pytest.approx(0.05)


def test_of_none_nothing_holds_for_sure():
    assert least_share(0) == 0.0


def drawn(rng, n, shape, scale, *, until):
    lives = scale * rng.weibull(shape, n)
    return np.minimum(lives, until).tolist(), (lives <= until).tolist()


@pytest.mark.source("SciPy", "weibull_min.fit on censored data, location 0")
@pytest.mark.parametrize("shape", [0.7, 1.0, 2.5])
def test_the_life_fitted_equals_that_of_a_reference_library(shape):
    rng = np.random.default_rng(11)
    days, failed = drawn(rng, 60, shape, 200.0, until=220.0)
    found = weibull(days, failed)
    assert found is not None
    data = stats.CensoredData.right_censored(days, [not f for f in failed])
    other, _, scale = stats.weibull_min.fit(data, floc=0)
    assert found.shape == pytest.approx(other, rel=1e-3)
    assert found.scale == pytest.approx(scale, rel=1e-3)


def test_the_life_drawn_is_found_again():
    days, failed = drawn(np.random.default_rng(3), 20_000, 1.8, 300.0, until=250.0)
    found = weibull(days, failed)
    assert found is not None
    assert found.shape == pytest.approx(1.8, rel=0.03)
    assert found.scale == pytest.approx(300.0, rel=0.03)
    assert found.share_left(90) == pytest.approx(math.exp(-((90 / 300) ** 1.8)), abs=0.01)


def test_no_life_is_fitted_on_four_failures_or_on_one_day():
    days = [10.0, 20.0, 30.0, 40.0, 50.0, 60.0]
    assert weibull(days, [True] * 4 + [False] * 2) is None
    assert weibull(days, [True] * 5 + [False]) is not None
    assert weibull([7.0] * 6, [True] * 6) is None


def test_a_failure_on_the_day_of_the_repair_counts():
    found = weibull([0.0, 3.0, 9.0, 30.0, 80.0], [True] * 5)
    assert found is not None
    assert found.shape < 1


@pytest.mark.parametrize("days", [[-1.0], [math.nan], [math.inf]])
def test_a_day_that_is_none_is_refused(days):
    with pytest.raises(ValueError, match="expected days of 0 or more"):
        kaplan_meier(days, [True])


def test_days_without_their_outcome_are_refused():
    with pytest.raises(ValueError, match="expected as many failures as days, got 1 and 2"):
        weibull([1.0, 2.0], [True])

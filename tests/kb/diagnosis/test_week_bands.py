import math

import pytest

from kb.diagnosis.rates import chart_limits
from kb.diagnosis.week_bands import week_bands


def test_the_recent_weeks_share_what_was_expected_of_them_by_their_jobs():
    jobs = [10.0] * 40 + [5.0, 15.0, 0.0, 10.0]
    bands = week_bands(3.0, jobs, [2] * 44, recent=4, shown=6)
    assert [row.expected for row in bands] == [1.0, 1.0, 0.5, 1.5, None, 1.0]
    assert bands[4].upper is None


@pytest.mark.source(
    "Poisson tables, .00135 above", "mean .5 -> 5, 1 -> 6 are too many, from memory"
)
@pytest.mark.parametrize(("mean", "upper"), [(0.5, 4), (1.0, 5)])
def test_small_counts_have_the_exact_limit(mean, upper):
    (row,) = week_bands(mean, [10.0], [1], recent=1, shown=1)
    assert row.upper == upper


@pytest.mark.parametrize("mean", [0.2, 2.0, 8.9, 9.0, 30.0])
def test_the_limit_is_that_of_one_point_of_the_chart(mean):
    (row,) = week_bands(mean, [10.0], [1], recent=1, shown=1)
    assert row.upper == pytest.approx(chart_limits(mean, 1.0).high)


def test_a_season_bends_the_band_and_a_rise_is_not_its_own_season():
    year = 365.2425 / 7
    wave = [round(20 * (1 + 0.6 * math.sin(2 * math.pi * at / year))) for at in range(156)]
    jobs = [100.0] * 156
    bands = week_bands(8 * 20.0, jobs, wave, recent=8, shown=52)
    told = [row.expected or 0.0 for row in bands]
    assert max(told) > 1.8 * min(told)
    flat = [20] * 148 + [80] * 8
    level = [row.expected or 0.0 for row in week_bands(160.0, jobs, flat, recent=8, shown=52)]
    assert max(level) == pytest.approx(min(level), rel=0.01)


def test_without_jobs_there_is_no_band():
    assert [row.upper for row in week_bands(1.0, [0.0, 0.0], [0, 0], recent=1, shown=2)] == [
        None
    ] * 2

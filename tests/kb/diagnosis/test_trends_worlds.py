"""The rule of the week on invented shops whose truth is known; ``bench_week_rules`` runs more."""

import numpy as np
import pytest

from tests.benchmarks.week_worlds import (
    comebacks,
    false_alarms,
    fleet_batch,
    found_after,
    holidays,
    more_recorded,
    pair_alarms,
    pair_found,
)

OURS = pytest.mark.source("our demand", "what a foreman bears with; no outside source")


@OURS
@pytest.mark.slow
@pytest.mark.parametrize(("swing", "alerts"), [(0.0, 0.10), (0.8, 0.15)])
@pytest.mark.parametrize("jobs", [20, 50, 100])
def test_where_nothing_changes_there_are_few_flags(swing, alerts, jobs):
    news = [false_alarms(seed, jobs=jobs, swing=swing) for seed in range(3)]
    assert np.mean([row["alert"] for row in news]) <= alerts
    assert np.mean([row["watch"] for row in news]) <= 0.35
    # A rule that never speaks would pass the demand; this one does speak.
    assert sum(row["watch"] for row in news) > 0


@OURS
@pytest.mark.slow
@pytest.mark.parametrize(
    ("jobs", "swing", "by_8", "by_13"),
    [(20, 0.0, 0.60, 0.80), (100, 0.0, 0.60, 0.80), (100, 0.8, 0.55, 0.75)],
)
def test_a_cause_that_comes_four_times_as_often_is_an_alert_in_time(jobs, swing, by_8, by_13):
    weeks = [found_after(seed, jobs=jobs, swing=swing)["alert"] for seed in range(40)]
    assert np.mean([week is not None and week <= 8 for week in weeks]) >= by_8
    assert np.mean([week is not None for week in weeks]) >= by_13


@OURS
@pytest.mark.slow
def test_a_pair_that_comes_ten_times_as_often_is_watched_within_eight_weeks():
    assert np.mean([pair_found(seed, jobs=50) is not None for seed in range(20)]) >= 0.70


@OURS
@pytest.mark.slow
def test_pairs_that_do_not_change_are_seldom_watched():
    assert pair_alarms(0, jobs=100) <= 0.35


@OURS
@pytest.mark.slow
def test_a_person_who_records_more_raises_few_flags_and_weeks_as_exposure_many():
    ours = np.mean([sum(more_recorded(seed, by_jobs=True).values()) for seed in range(3)])
    weeks = np.mean([sum(more_recorded(seed, by_jobs=False).values()) for seed in range(3)])
    assert ours <= 0.45
    assert weeks > 1.5


@OURS
@pytest.mark.slow
def test_closed_and_thin_weeks_raise_few_flags():
    assert np.mean([sum(holidays(seed, by_jobs=True).values()) for seed in range(2)]) <= 0.45


@OURS
@pytest.mark.slow
def test_a_fleet_that_brings_one_batch_is_silent_where_days_are_counted():
    assert sum(fleet_batch(seed, collapsed=True) for seed in range(15)) <= 2
    assert sum(fleet_batch(seed, collapsed=False) for seed in range(15)) >= 9


@OURS
@pytest.mark.slow
def test_the_share_of_comebacks_is_not_drawn_down_by_cars_lost_from_sight():
    shares = np.array([comebacks(seed) for seed in range(100)])
    assert shares[:, 0].mean() == pytest.approx(0.2, abs=0.01)
    assert shares[:, 1].mean() < 0.17

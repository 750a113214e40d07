import numpy as np
import pytest

from kb.diagnosis.arrivals import Series, Windows, count_windows

WEEKS = 70


def series(key="a", *, before=0, recent=0, **more):
    weekly = [0] * WEEKS
    weekly[-60], weekly[-9], weekly[-8], weekly[-1] = before, before, recent, recent
    weekly[0] = weekly[-61] = 7
    return Series(key=key, group=more.pop("group", "g"), weekly=tuple(weekly), **more)


def counted(*rows, exposure=None, totals=None):
    return count_windows(
        rows, exposure or [10.0] * WEEKS, totals=totals, windows=Windows(recent=8, before=52)
    )


def test_the_recent_weeks_and_the_year_before_are_counted_and_nothing_older():
    found = counted(series(before=2, recent=3))
    assert (found.recent.tolist(), found.before.tolist()) == ([6], [4])
    assert (found.recent_jobs.tolist(), found.before_jobs.tolist()) == ([80], [520])


def test_a_row_may_have_jobs_of_its_own():
    own = tuple([1.0] * WEEKS)
    found = counted(series("a", before=1), series("b", before=1, exposure=own))
    assert found.before_jobs.tolist() == [520, 52]


def test_without_a_word_the_usual_is_the_mean_of_all_rows():
    found = counted(series("a", before=4), series("b"), series("c", usual=0.25))
    assert found.usual == pytest.approx([8 / 1560, 8 / 1560, 0.25])


def test_rows_that_never_came_still_have_a_usual_that_is_a_number():
    assert counted(series()).usual == pytest.approx([0.5 / 520])


def test_half_a_year_of_weeks_with_jobs_is_enough():
    exposure = [0.0] * (WEEKS - 8 - 25) + [10.0] * 33
    assert not counted(series(), exposure=exposure).enough.any()
    exposure[-34] = 10.0
    assert counted(series(), exposure=exposure).enough.all()


def test_without_recent_jobs_there_is_nothing_to_tell():
    assert not counted(series(), exposure=[10.0] * (WEEKS - 8) + [0.0] * 8).enough.any()


def test_a_model_that_is_seldom_in_has_a_history_all_the_same():
    seldom = tuple(1.0 if at % 7 == 0 else 0.0 for at in range(WEEKS))
    gone = tuple([1.0] * (WEEKS - 8) + [0.0] * 8)
    found = counted(series("a", exposure=seldom), series("b", exposure=gone))
    assert found.enough.tolist() == [True, False]


def test_a_system_counted_whole_gives_the_season_and_not_its_rows_alone():
    wave = np.round(50 + 40 * np.sin(2 * np.pi * np.arange(1 - WEEKS, 1) / 52)).astype(int)
    alone = counted(series(before=1))
    whole = counted(series(before=1), totals={"g": wave.tolist()})
    assert whole.season is not None
    assert alone.season is not None
    assert whole.season[0] != pytest.approx(alone.season[0], rel=0.01)


def test_rows_share_the_season_of_their_system():
    found = counted(series("a", recent=4), series("b", group="h"), series("c"))
    assert found.season is not None
    assert found.season[0] == found.season[2] > found.season[1]


def test_before_sixty_weeks_the_season_is_missing():
    rows = [Series(key="a", group="g", weekly=(1,) * 59)]
    found = count_windows(rows, [5.0] * 59, totals=None, windows=Windows())
    assert found.season is None


def test_vehicles_not_known_do_not_hold_a_row_back():
    assert counted(series("a", vehicles=2), series("b")).vehicles.tolist() == [2, np.inf]


def test_a_row_of_another_length_is_refused():
    with pytest.raises(ValueError, match="expected a number for each of 70 weeks, got 2"):
        counted(Series(key="a", group="g", weekly=(1, 2)))
    with pytest.raises(ValueError, match="expected a number for each of 70 weeks, got 1"):
        counted(series(exposure=(1.0,)))


def test_a_usual_of_nothing_is_refused():
    with pytest.raises(ValueError, match="expected a usual above 0 for a, got 0"):
        counted(series("a", usual=0.0))

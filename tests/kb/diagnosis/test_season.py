import numpy as np
import pytest
from scipy import optimize

from kb.diagnosis.season import YEAR, fit_seasons, season_factor, season_factors, seasons_of, waves

WEEKS = 156
TURN = 2 * np.pi * np.arange(1 - WEEKS, 1) / YEAR


def drawn(rng, *, mean, swing, phase=0.0):
    return rng.poisson(mean * (1 + swing * np.sin(TURN + phase)))


def test_the_season_put_in_is_found_again():
    rng = np.random.default_rng(2)
    shape = np.exp(0.7 * np.sin(TURN) - 0.2 * np.cos(TURN))
    totals = rng.poisson(400 * shape)
    base, sine, cosine = fit_seasons(totals[None].astype(float), np.full(WEEKS, 100.0))[0]
    assert (base, sine, cosine) == pytest.approx((np.log(4), 0.7, -0.2), abs=0.02)


@pytest.mark.source("SciPy", "minimize (BFGS) of the penalised Poisson likelihood")
def test_the_fit_is_the_likeliest_with_a_ridge_of_four():
    rng = np.random.default_rng(3)
    totals = drawn(rng, mean=0.8, swing=0.8).astype(float)
    exposure = rng.integers(0, 30, WEEKS).astype(float)
    totals[exposure == 0] = 0
    design = waves(WEEKS)

    def surprise(b):
        ridge = 2 * (b[1] ** 2 + b[2] ** 2)
        return (exposure * np.exp(design @ b)).sum() - totals @ (design @ b) + ridge

    expected = optimize.minimize(surprise, np.array([-3.0, 0, 0])).x
    assert fit_seasons(totals[None], exposure)[0] == pytest.approx(expected, abs=1e-4)


def test_systems_are_fitted_together_as_they_are_alone():
    rng = np.random.default_rng(4)
    totals = np.array([drawn(rng, mean=m, swing=s) for m, s in ((9, 0.8), (2, 0), (5, 0.4))], float)
    exposure = np.full(WEEKS, 50.0)
    together = season_factors(totals, exposure, recent=8, before=104)
    alone = [season_factor(row, exposure.tolist()) for row in totals.astype(int).tolist()]
    assert together == pytest.approx(alone)
    named = dict(zip("abc", totals.astype(int).tolist(), strict=True))
    by_name = seasons_of(named, exposure.tolist(), recent=8, before=104)
    assert by_name == pytest.approx(dict(zip("abc", alone, strict=True)))
    short = {name: row[-40:] for name, row in named.items()}
    assert seasons_of(short, [50.0] * 40, recent=8, before=104) == dict.fromkeys("abc")
    assert seasons_of({}, [50.0] * 40, recent=8, before=104) == {}


@pytest.mark.source(
    "by hand", "mean of 1 + .8 sin over the last 8 weeks over that of the 52 before"
)
@pytest.mark.parametrize("phase", [0.0, 1.5, 3.0, 4.5])
def test_the_factor_follows_the_time_of_the_year(phase):
    shape = 1 + 0.8 * np.sin(TURN + phase)
    totals = np.random.default_rng(6).poisson(60 * shape)
    true = shape[-8:].mean() / shape[-112:-8].mean()
    found = season_factor(totals.tolist(), [100.0] * WEEKS)
    assert found is not None
    assert found == pytest.approx(true, rel=0.25)
    assert (found > 1) == (true > 1)


def test_few_events_hardly_make_a_season():
    totals = [0] * WEEKS
    totals[-54] = totals[-56] = totals[-58] = 1
    found = season_factor(totals, [100.0] * WEEKS)
    assert found is not None
    assert 1 < found < 2.5


def test_a_system_without_events_has_no_season():
    assert season_factor([0] * WEEKS, [100.0] * WEEKS) == 1.0


def test_more_jobs_are_no_season():
    jobs = 100 * (1 + 0.8 * np.sin(TURN))
    totals = np.random.default_rng(7).poisson(0.5 * jobs)
    found = season_factor(totals.tolist(), jobs.tolist())
    assert found == pytest.approx(1.0, abs=0.05)


def test_a_season_is_not_known_before_sixty_weeks_with_jobs():
    assert season_factor([3] * 59, [100.0] * 59) is None
    assert season_factor([3] * 60, [100.0] * 60) is not None
    closed = [100.0] * 59 + [0.0] * 40
    assert season_factor([3] * 59 + [0] * 40, closed) is None


def test_weeks_without_jobs_change_nothing():
    rng = np.random.default_rng(8)
    jobs = np.where(rng.uniform(size=WEEKS) < 0.2, 0.0, 80.0)
    totals = rng.poisson(0.1 * jobs)
    found = season_factor(totals.tolist(), jobs.tolist())
    assert found == pytest.approx(1.0, abs=0.1)


def test_recent_weeks_without_jobs_have_no_factor():
    assert season_factor([1] * 92 + [0] * 8, [10.0] * 92 + [0.0] * 8) is None


def test_totals_of_other_weeks_than_the_jobs_are_refused():
    with pytest.raises(ValueError, match="expected one total for each of 3 weeks, got 2"):
        season_factor([1, 2], [1.0, 1.0, 1.0])


def test_a_rise_of_the_recent_weeks_does_not_pass_for_their_season():
    totals = [4] * (WEEKS - 8) + [40] * 8
    assert season_factor(totals, [100.0] * WEEKS) == pytest.approx(1.0, abs=1e-6)

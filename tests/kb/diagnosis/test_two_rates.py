import pytest

from kb.diagnosis.rates import two_rate_p
from kb.diagnosis.two_rates import TwoCounts, Weighed, more_now


def counts(recent, before, now=8.0, then=52.0):
    return TwoCounts(recent=recent, before=before, recent_exposure=now, before_exposure=then)


@pytest.mark.parametrize(("recent", "before"), [(9, 14), (3, 0), (0, 7), (0, 0)])
def test_each_row_has_the_p_of_the_exact_test_of_two_rates(recent, before):
    (tested,) = more_now([counts(recent, before)])
    exact = two_rate_p(recent, before, recent_exposure=8, before_exposure=52)
    assert tested.p == pytest.approx(exact)


@pytest.mark.source("R, poisson.test(c(11, 21), c(800, 3011))", "p .07967, from memory")
def test_both_ways_is_twice_the_lesser_tail_and_never_less_than_adding_the_unlikelier():
    (up,) = more_now([counts(11, 21, 800, 3011)], both_ways=True)
    (down,) = more_now([counts(21, 11, 3011, 800)], both_ways=True)
    one_sided = two_rate_p(11, 21, recent_exposure=800, before_exposure=3011)
    assert up.p == pytest.approx(2 * one_sided)
    assert down.p == pytest.approx(up.p)
    assert 0.07967 < up.p < 2 * 0.07967


def test_many_dull_rows_do_not_hide_one_that_rose_but_do_hide_a_weak_one():
    dull = [counts(1, 7)] * 40
    strong, *_ = more_now([counts(12, 9), *dull])
    weak, *_ = more_now([counts(4, 6), *dull])
    alone, *_ = more_now([counts(4, 6)])
    assert (strong.found, weak.found, alone.found) == (True, False, True)


def test_a_row_without_a_past_or_without_jobs_cannot_tell():
    silent = Weighed(p=1.0, found=False)
    assert more_now([counts(5, 0, 8, 0), counts(0, 5, 0, 52)]) == (silent, silent)
    assert more_now([]) == ()

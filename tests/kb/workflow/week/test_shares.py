import pytest

from kb.diagnosis.measure import wilson_interval
from kb.workflow.week.shares import TELL_FROM, share_of, sum_known


def test_a_share_carries_the_interval_of_the_diagnosis():
    low, high = wilson_interval(7, 41)
    assert share_of(7, 41) == {"count": 7, "of": 41, "low": low, "high": high}


@pytest.mark.parametrize("of", range(TELL_FROM))
def test_few_have_no_interval(of):
    assert share_of(0, of) == {"count": 0, "of": of, "low": None, "high": None}


def test_what_is_not_known_is_missing_and_never_nothing():
    assert sum_known([None, 0, 300]) == {"sum": 300, "known": 2, "of": 3}
    assert sum_known([0]) == {"sum": 0, "known": 1, "of": 1}
    assert sum_known([]) == {"sum": None, "known": 0, "of": 0}

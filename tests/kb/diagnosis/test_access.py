import pytest

from kb.case.terms import load_vocabulary
from kb.diagnosis.access import ACCESS_MINUTES, access_of, opening_minutes, work_of

CHECKS = load_vocabulary().checks


def test_checks_behind_one_opening_have_one_name_and_others_their_own():
    assert access_of(CHECKS["evap_camera"]) == access_of(CHECKS["door_camera"])
    assert access_of(CHECKS["evap_camera"]) != access_of(CHECKS["door_jamb_harness"])
    varies = [access_of(row) for row in CHECKS.values() if row.access == "varies"]
    assert len(varies) > 1
    assert len(set(varies)) == len(varies)
    assert {access_of(row) for row in CHECKS.values() if row.access == "none"} == {""}


def test_every_access_of_the_catalogue_has_its_minutes():
    names = {access_of(row) for row in CHECKS.values()}
    opening = opening_minutes(names)
    assert set(opening) == names - {""}
    assert set(opening.values()) <= set(ACCESS_MINUTES.values())
    assert all(minutes > 0 for minutes in opening.values())


def test_an_open_access_costs_nothing():
    assert opening_minutes(["trim hvac", "hood"], ["trim hvac"]) == {"hood": 1.0, "trim hvac": 0.0}


WORK = work_of([10, 25, 5, 5], ["", "", "panel", "panel"], {"lift": 6.0, "panel": 60.0})


def test_the_opening_is_paid_with_the_first_that_needs_it():
    assert WORK.alone.tolist() == [10, 25, 65, 65]
    assert WORK.total([2, 3, 0, 1]).tolist() == [65, 5, 10, 25]
    assert WORK.total([0, 3, 1, 2]).tolist() == [10, 65, 25, 5]


@pytest.mark.parametrize(("access", "first"), [(1, [5, 5]), (0, [65, 5]), (-1, [65, 5])])
def test_what_is_open_is_not_paid_again(access, first):
    assert WORK.open(access).total([2, 3]).tolist() == first


def test_work_without_an_opening_costs_its_own_minutes():
    plain = work_of([10, 25])
    assert plain.alone.tolist() == plain.total([0, 1]).tolist() == [10, 25]

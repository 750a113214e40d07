import random
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kb.case.casefile import read_folder
from kb.case.terms import load_vocabulary
from kb.diagnosis.twins import MOST_DAYS, same_readings, written_twice
from kb.retrieval.features import CaseFeatures
from kb.retrieval.measures import Measure
from kb.retrieval.pairwise import Recent, compare_all
from kb.store.migrate import bundled
from kb.workflow.suggest import witness_features

WORDS = load_vocabulary()
DAY = date(2026, 1, 5)


@pytest.fixture(scope="module")
def seeds():
    jobs = read_folder(bundled("seed_cases"))[0][:60]
    return [witness_features(job, WORDS, 0.0) for job in jobs]


def recent(cases, *, vehicles=(), days=()):
    own = dict(zip([case.case for case in cases], vehicles, strict=False))
    late = dict(zip([case.case for case in cases], days, strict=False))
    return [
        Recent(
            features=case,
            day=DAY + timedelta(days=late.get(case.case, 0)),
            vehicle=own.get(case.case, f"car {case.case}"),
        )
        for case in cases
    ]


def again(case, name="again", keep=0.6):
    """Return a case as another hand writes it: some of its words, tokens and readings."""
    rng = random.Random(1)

    def some(rows):
        return [row for row in rows if rng.random() < keep]

    return replace(
        case,
        case=name,
        said=" ".join(some(case.said.split())),
        told=" ".join(some(case.told.split())),
        tokens=tuple(some(case.tokens)),
        measures=tuple(some(case.measures)),
    )


def test_a_job_written_twice_is_found_with_its_reasons(seeds):
    cases = [seeds[0], again(seeds[0]), *seeds[1:]]
    (pair,) = written_twice(compare_all(recent(cases, vehicles=("VIN1", "VIN1"), days=(0, 1))))
    assert (pair.first, pair.second) == (seeds[0].case, "again")
    assert (pair.same_vehicle, pair.days_apart) == (True, 1)
    assert pair.reasons[0].part == "text"
    assert 0.65 <= pair.share <= 1.1


def test_a_job_without_a_plate_is_found_on_the_same_day_only(seeds):
    cases = [seeds[0], again(seeds[0]), *seeds[1:]]
    (pair,) = written_twice(compare_all(recent(cases, vehicles=("VIN1", ""))))
    assert not pair.same_vehicle
    assert written_twice(compare_all(recent(cases, vehicles=("VIN1", ""), days=(0, 1)))) == ()


def test_other_cars_and_later_visits_are_other_jobs(seeds):
    cases = [seeds[0], again(seeds[0]), *seeds[1:]]
    assert written_twice(compare_all(recent(cases))) == ()
    comeback = recent(cases, vehicles=("VIN1", "VIN1"), days=(0, MOST_DAYS + 1))
    assert written_twice(compare_all(comeback)) == ()


def test_different_jobs_of_one_car_on_one_day_are_not_one_job(seeds):
    one_car = recent(seeds, vehicles=["VIN1"] * len(seeds))
    assert written_twice(compare_all(one_car)) == ()


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 59), st.integers(0, 1))
def test_any_case_copied_is_found_as_one_pair(seeds, at, late):
    twice = replace(seeds[at], case="again")
    few = [twice, seeds[at], *seeds[:9]]
    cases = list({case.case: case for case in few}.values())
    jobs = recent(cases, vehicles=("VIN1", "VIN1"), days=(late,))
    (pair,) = written_twice(compare_all(jobs))
    assert {pair.first, pair.second} == {"again", seeds[at].case}
    assert pair.share == pytest.approx(1.0)


def reading(key, value):
    return Measure(key=key, value=float(value), what=f"{key} {value:g}")


def proven(name, cause, *values, keys="abcd", standing="proven"):
    return CaseFeatures(
        case=name,
        cause=cause,
        standing=standing,
        measures=tuple(reading(key, value) for key, value in zip(keys, values, strict=True)),
    )


def crowd(size=30):
    rng = random.Random(3)
    return [
        proven(f"B{at:02d}", f"cause {at}", *(rng.uniform(0, 100) for _ in "abcd"))
        for at in range(size)
    ]


def test_the_same_readings_with_different_proven_causes_are_found():
    cases = [proven("A1", "x", 20, 71, 33, 54), proven("A2", "y", 20, 71, 33, 54), *crowd()]
    pair = same_readings(compare_all(recent(cases, days=(4, 0))))[0]
    assert (pair.first, pair.second, pair.causes) == ("A2", "A1", ("y", "x"))
    assert pair.readings[0] == "a 20, there 20"
    assert pair.by_luck == pytest.approx(0.0)


def test_one_cause_and_causes_that_are_not_proven_are_no_pair():
    for second in (
        proven("A2", "x", 20, 71, 33, 54),
        proven("A2", "y", 20, 71, 33, 54, standing="likely"),
        proven("A2", None, 20, 71, 33, 54),
        proven("A2", "y", 20, 71, 33, keys="abc"),
    ):
        cases = [proven("A1", "x", 20, 71, 33, 54), second, *crowd()]
        pairs = same_readings(compare_all(recent(cases)))
        assert all({"A1", "A2"} != {pair.first, pair.second} for pair in pairs)


def test_what_was_computed_and_what_an_action_moved_is_no_reading():
    keys = ("a", "b", "c", "= computed", "d change by tap")
    cases = [
        proven("A1", "x", 20, 71, 33, 1, 1, keys=keys),
        proven("A2", "y", 20, 71, 33, 1, 1, keys=keys),
        *crowd(),
    ]
    pairs = same_readings(compare_all(recent(cases)))
    assert all({"A1", "A2"} != {pair.first, pair.second} for pair in pairs)


@pytest.mark.source("scipy.stats.chi2", "chance of a sum of squares, by hand from normal scores")
def test_the_luck_of_a_pair_is_a_chance_times_the_pairs_compared():
    cases = [proven("A1", "x", 20, 71, 33, 54), proven("A2", "y", 21, 72, 34, 55), *crowd()]
    pair = same_readings(compare_all(recent(cases)))[0]
    assert {pair.first, pair.second} == {"A1", "A2"}
    total = 0.0
    for at in range(4):
        values = [case.measures[at].value for case in cases]
        ranks = stats.rankdata(values)
        scores = stats.norm.ppf(ranks / (len(values) + 1))
        total += (scores[0] - scores[1]) ** 2
    n_pairs = len(cases) * (len(cases) - 1) / 2
    assert pair.by_luck == pytest.approx(n_pairs * stats.chi2(4).cdf(total / 2))


def test_readings_drawn_at_random_make_about_one_pair_a_review_at_most():
    counts = []
    for seed in range(8):
        rng = random.Random(seed)
        cases = [
            proven(f"B{at:03d}", f"cause {at}", *(rng.gauss(0, 1) for _ in "abcd"))
            for at in range(80)
        ]
        counts.append(len(same_readings(compare_all(recent(cases)))))
    assert sum(counts) <= 2 * len(counts)


def test_the_order_of_the_jobs_changes_nothing(seeds):
    jobs = recent([again(seeds[0]), *seeds], vehicles=("VIN1", "VIN1"))
    first, second = compare_all(jobs), compare_all(jobs[::-1])
    assert written_twice(first) == written_twice(second)
    assert [(p.first, p.second) for p in same_readings(first)] == [
        (p.first, p.second) for p in same_readings(second)
    ]
    assert same_readings(first)


def test_no_job_makes_no_pair():
    assert written_twice(compare_all([])) == ()
    assert same_readings(compare_all([])) == ()

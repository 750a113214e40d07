from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.cluster import AgglomerativeClustering

from kb.case.casefile import read_folder
from kb.case.terms import load_vocabulary
from kb.diagnosis.clusters import (
    CaseGroup,
    beyond_usual,
    find_groups,
    keep_keys,
    least_likeness,
)
from kb.retrieval.features import CaseFeatures, case_features
from kb.retrieval.pairwise import Recent, compare_all
from kb.store.migrate import bundled
from kb.workflow.jobs import draft_job, read_vehicle

WORDS = load_vocabulary()
DAY = date(2026, 1, 5)
# Six jobs with one new fault: a roof rail seal lets air in, written by different hands.
PATTERN = (
    ("2021 Aldenroe Fen A20T", "whistle from roof rail over 60 mph, gone with tape over the seal"),
    ("2020 Aldenroe Fen A20T", "roof rail whistles at 65 mph, taped seal along the rail, quiet"),
    (
        "2021 Garrowick Tor G18P",
        "high whistle at the roof rail on highway, tape on rail seal cures",
    ),
    ("2022 Aldenroe Fen A20T", "customer hears whistling roof above 60, rail seal lip lifted"),
    (
        "2021 Wrenlock Sedge W15P",
        "wind whistle, roof rail seal lifts, tape over seal stops whistle",
    ),
    ("2019 Pellarin Copse P20P", "roof whistle 60 mph and up. pressed rail seal down: no whistle"),
)
CAUSES = (None, "windscreen_seal", None, "tyre_cupping", None, "wheel_bearing")


def features(name, text, vehicle="", cause=None):
    job = draft_job(text, words=WORDS, vehicle=read_vehicle(vehicle), today=DAY).job
    return replace(case_features(job, WORDS), case=name, cause=cause)


def recent(cases, vehicles=None):
    return [
        Recent(
            features=case,
            day=DAY + timedelta(days=at),
            vehicle=vehicles[at] if vehicles else f"car {case.case}",
        )
        for at, case in enumerate(cases)
    ]


@pytest.fixture(scope="module")
def seeds():
    return [case_features(job, WORDS) for job in read_folder(bundled("seed_cases"))[0]]


@pytest.fixture(scope="module")
def planted():
    return [
        features(f"P{at}", text, vehicle, CAUSES[at]) for at, (vehicle, text) in enumerate(PATTERN)
    ]


def test_a_planted_pattern_is_found_and_said_with_what_holds_it_together(seeds, planted):
    (group,) = find_groups(compare_all(recent([*planted, *seeds])))
    assert set(group.cases) == {"P0", "P1", "P2", "P3", "P4", "P5"}
    assert group.causes == (("tyre_cupping", 1), ("wheel_bearing", 1), ("windscreen_seal", 1))
    assert (group.unnamed, group.vehicles, group.key) == (3, 6, "P0")
    seal = next(sign for sign in group.signs if sign.what == "rail seal")
    assert (seal.inside, seal.size, seal.outside, seal.others) == (4, 6, 0, len(seeds))
    assert group.likeness > least_likeness(len(seeds) + 6)


def test_nothing_is_found_when_the_pattern_is_not_there(seeds):
    assert find_groups(compare_all(recent(seeds))) == ()


def test_three_jobs_of_a_pattern_are_enough_and_two_are_not(seeds, planted):
    (group,) = find_groups(compare_all(recent([*planted[:3], *seeds])))
    assert set(group.cases) == {"P0", "P1", "P2"}
    assert find_groups(compare_all(recent([*planted[:2], *seeds]))) == ()


def test_a_car_that_came_back_three_times_is_no_pattern(seeds, planted):
    cases = [*planted[:3], *seeds]
    cars = ["one", "one", "two", *(case.case for case in seeds)]
    assert find_groups(compare_all(recent(cases, cars))) == ()
    unknown = ["one", "", "", *(case.case for case in seeds)]
    assert len(find_groups(compare_all(recent(cases, unknown)))) == 1


def test_jobs_of_one_named_cause_are_just_that_cause(seeds, planted):
    named = [replace(case, cause="windscreen_seal") for case in planted]
    assert find_groups(compare_all(recent([*named, *seeds]))) == ()
    few_open = [replace(case, cause=None) for case in planted[:2]] + named[2:]
    assert find_groups(compare_all(recent([*few_open, *seeds]))) == ()
    one_named = [replace(case, cause=None) for case in planted[:5]] + named[5:]
    (group,) = find_groups(compare_all(recent([*one_named, *seeds])))
    assert (group.causes, group.unnamed) == ((("windscreen_seal", 1),), 5)


def test_two_known_causes_that_look_alike_are_no_third_one(seeds, planted):
    halves = [
        replace(case, cause="wheel_bearing" if at < 3 else "tyre_cupping")
        for at, case in enumerate(planted)
    ]
    assert find_groups(compare_all(recent([*halves, *seeds]))) == ()


def test_groups_come_largest_first_and_their_cases_oldest_first(seeds, planted):
    second = [
        features(f"Q{at}", f"fuel flap will not open, pull cord {word}, flap frame bent")
        for at, word in enumerate(("loose", "slack", "hangs"))
    ]
    jobs = recent([*second, *reversed(planted), *seeds])
    groups = find_groups(compare_all(jobs))
    assert [group.cases[0] for group in groups] == ["P5", "Q0"]
    assert groups[0].cases == ("P5", "P4", "P3", "P2", "P1", "P0")
    assert groups == find_groups(compare_all(jobs[::-1]))


@pytest.mark.source("by hand", "three jobs: s = 6, 3, 0; means 4.5, 3, 1.5; mean of all 3")
def test_what_is_usual_for_a_job_is_taken_off():
    total = np.array([[99.0, 6.0, 3.0], [6.0, 99.0, 0.0], [3.0, 0.0, 99.0]])
    excess = beyond_usual(total)
    assert excess[0, 1] == pytest.approx(6 - 4.5 - 3 + 3)
    assert excess[1, 2] == pytest.approx(0 - 3 - 1.5 + 3)


@pytest.mark.source("scikit-learn", "AgglomerativeClustering on 1 - cosine of the texts alone")
def test_the_groups_of_plain_texts_are_those_of_average_linkage():
    texts = ["red door", "red door", "red door", "blue lamp", "blue lamp", "blue lamp", "wet belt"]
    likeness = compare_all(
        recent([CaseFeatures(case=f"C{at}", said=text) for at, text in enumerate(texts)])
    )
    apart = 1 - likeness.total / likeness.total.max()
    labels = AgglomerativeClustering(
        n_clusters=None, metric="precomputed", linkage="average", distance_threshold=0.5
    ).fit_predict(apart)
    found = {frozenset(group.cases) for group in find_groups(likeness)}
    expected = {
        frozenset(f"C{at}" for at in np.flatnonzero(labels == label)) for label in set(labels)
    }
    assert found == {group for group in expected if len(group) >= 3}


def test_no_job_makes_no_group():
    assert find_groups(compare_all([])) == ()


def a_group(*cases):
    return CaseGroup(
        key=cases[0],
        cases=cases,
        vehicles=len(cases),
        causes=(),
        unnamed=len(cases),
        likeness=9.0,
        signs=(),
    )


def test_a_group_keeps_its_key_while_it_overlaps_with_an_earlier_one():
    (kept,) = keep_keys((a_group("B", "C", "D"),), {"A": ("A", "B", "C")})
    assert kept.key == "A"
    (new,) = keep_keys((a_group("X", "Y", "Z"),), {"A": ("A", "B", "C")})
    assert new.key == "X"


def test_a_group_that_falls_apart_leaves_its_key_with_the_larger_part():
    parts = (a_group("A", "E", "F"), a_group("B", "C", "D"))
    assert [group.key for group in keep_keys(parts, {"A": ("A", "B", "C", "D")})] == ["E", "A"]


@settings(max_examples=60)
@given(
    st.lists(st.sampled_from("ABCDEFGHIJ"), unique=True, min_size=9),
    st.dictionaries(st.sampled_from("ABCDKL"), st.sets(st.sampled_from("ABCDEFGHIJ")), max_size=4),
)
def test_no_two_groups_have_one_key(cases, earlier):
    groups = tuple(a_group(*cases[at : at + 3]) for at in (0, 3, 6))
    kept = keep_keys(groups, earlier)
    assert len({group.key for group in kept}) == 3
    assert [group.cases for group in kept] == [group.cases for group in groups]

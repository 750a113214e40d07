from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb.case.casefile import read_folder
from kb.case.terms import load_vocabulary
from kb.retrieval.features import CaseFeatures, Token, case_features
from kb.retrieval.measures import Measure
from kb.retrieval.pairwise import Recent, compare_all
from kb.store.migrate import bundled

DAY = date(2026, 1, 5)
WORDS = load_vocabulary()


@pytest.fixture(scope="module")
def seeds():
    return [case_features(job, WORDS) for job in read_folder(bundled("seed_cases"))[0]]


def recent(*cases):
    return [Recent(features=case, day=DAY) for case in cases]


def test_two_jobs_are_as_alike_as_the_search_says(seeds):
    likeness = compare_all(recent(*seeds[:60]))
    for row, job in enumerate(likeness.jobs):
        asked = likeness.index.ask(job.features)
        parts = [part for part in asked.parts if part.part != "contrary"]
        expected = np.zeros(len(likeness.ids), np.float32)
        for part in parts:
            part.add_to(expected)
        assert likeness.total[row] == pytest.approx(expected, abs=1e-4)


def test_no_job_and_one_job_compare_with_nothing():
    assert compare_all([]).total.shape == (0, 0)
    assert compare_all(recent(CaseFeatures(case="A", said="no start"))).total.shape == (1, 1)


@st.composite
def drawn_cases(draw):
    words = st.lists(st.sampled_from(["hum", "cold", "idle", "belt", "wet"]), max_size=5)
    values = st.dictionaries(
        st.sampled_from(["one|", "two|"]), st.sampled_from(["yes", "no"]), max_size=2
    )
    numbers = st.dictionaries(st.sampled_from(["p", "q"]), st.floats(-9, 9), max_size=2)
    causes = st.sampled_from([None, "a", "b"])
    return [
        CaseFeatures(
            case=f"C{at}",
            said=" ".join(draw(words)),
            told=" ".join(draw(words)),
            tokens=tuple(
                Token(part="symptom", field=field, value=value, what=field)
                for field, value in draw(values).items()
            ),
            measures=tuple(Measure(key=k, value=v, what=k) for k, v in draw(numbers).items()),
            cause=draw(causes),
        )
        for at in range(draw(st.integers(0, 7)))
    ]


@settings(max_examples=40, deadline=None)
@given(drawn_cases(), st.randoms(use_true_random=False))
def test_likeness_is_the_same_both_ways_and_in_any_order(cases, random):
    first = compare_all(recent(*cases))
    random.shuffle(cases)
    second = compare_all(recent(*cases))
    assert (first.total == first.total.T).all()
    assert first.ids == second.ids
    assert first.total == pytest.approx(second.total, abs=1e-9)

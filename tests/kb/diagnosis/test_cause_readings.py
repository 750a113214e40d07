import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb.case.terms import load_vocabulary
from kb.diagnosis.cause_readings import LEAST_FOR_HALF, CauseReadings
from kb.diagnosis.causes import CauseModel
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.measures import Measure

WORDS = load_vocabulary()
FAN, OVER = "condenser_fan_dead", "overcharge"


def a_case(name, cause, value=None, weight=1.0):
    read = () if value is None else (Measure(key="low", value=float(value), what="low"),)
    return CaseFeatures(case=name, cause=cause, measures=read, weight=weight)


def readings(cases, *causes):
    return CauseReadings(CauseModel(WORDS).fit(cases, CaseIndex().fit(cases)), causes)


def test_few_cases_are_given_one_by_one():
    found = readings([a_case("A", FAN, 9), a_case("B", FAN, 3), a_case("C", OVER, 5)], FAN, OVER)
    fan, over = found.of("low")
    assert (fan.cause, fan.count, fan.values, fan.middle) == (FAN, 2, (3.0, 9.0), 6.0)
    assert (over.cause, over.count, over.values) == (OVER, 1, (5.0,))


@pytest.mark.source("numpy 2 quantile", "method 'linear' (Hyndman & Fan type 7), 1, 2, .., 7")
def test_many_cases_are_given_by_their_middle_half():
    found = readings([a_case(f"A{n}", FAN, n) for n in range(1, 8)], FAN)
    (row,) = found.of("low")
    expected = np.quantile(np.arange(1.0, 8.0), (0.25, 0.5, 0.75), method="linear").tolist()
    assert row.count == 7 >= LEAST_FOR_HALF
    assert row.values == ()
    assert [row.low, row.middle, row.high] == expected == [2.5, 4.0, 5.5]


def test_a_case_without_the_reading_or_overturned_or_of_another_cause_counts_nowhere():
    cases = [a_case("A", FAN), a_case("B", FAN, 4, weight=0.0), a_case("C", OVER, 5)]
    assert readings(cases, FAN).of("low") == ()
    assert readings(cases, OVER).of("high") == ()


def test_a_cause_that_the_model_does_not_know_is_left_out():
    assert readings([a_case("A", FAN, 4)], "never_heard_of").of("low") == ()


@pytest.mark.source("numpy 2 quantile", "method 'linear', any number of values, bit for bit")
@settings(max_examples=20, deadline=None)
@given(st.lists(st.floats(-1e6, 1e6), min_size=LEAST_FOR_HALF, max_size=40))
def test_quartiles_are_those_of_the_library(values):
    found = readings([a_case(f"A{n:02d}", FAN, value) for n, value in enumerate(values)], FAN)
    (row,) = found.of("low")
    assert [row.low, row.middle, row.high] == np.quantile(values, (0.25, 0.5, 0.75)).tolist()

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from kb.case.terms import load_vocabulary
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.profiles import READING_CASES
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.measures import Measure

WORDS = load_vocabulary()


def told(model, query):
    return np.sum([*model.parts(query).values()], axis=0)


def token(part, field, value="yes"):
    return Token(part=part, field=field, value=value, what=field)


def a_case(name, cause, *tokens, said="", weight=1.0):
    return CaseFeatures(case=name, cause=cause, said=said, tokens=tokens, weight=weight)


def chances(cases, query):
    model = CauseModel(WORDS).fit(cases, CaseIndex().fit(cases))
    return model.chances(CaseIndex().fit(cases).ask(query))


WARM = token("symptom", "ac_cold_on_road_warm_in_traffic|")


def test_chances_sum_to_1_with_something_else_among_them():
    rows = chances([], a_case("Q", None, WARM))
    assert sum(row.chance for row in rows) == pytest.approx(1)
    assert sum(row.cause is None for row in rows) == 1


def test_a_cause_without_a_case_counts_by_what_the_catalogue_expects():
    rows = chances([], a_case("Q", None, WARM))
    listed = {k for k, row in WORDS.causes.items() if WARM.field[:-1] in row.complaints}
    best = [row.cause for row in rows if row.cause is not None][: len(listed)]
    assert set(best) == listed
    assert all(row.cases == () for row in rows)


def test_an_expected_outcome_lifts_its_cause_and_another_one_sinks_it():
    name = "condenser_fan_dead"
    expected = WORDS.causes[name].expect["condenser_air_boost"]
    other = next(o for o in WORDS.checks["condenser_air_boost"].outcomes if o != expected)

    def chance(*extra):
        rows = chances([], a_case("Q", None, WARM, *extra))
        return next(row.chance for row in rows if row.cause == name)

    field = "condenser_air_boost|"
    assert (
        chance(token("finding", field, expected))
        > chance()
        > chance(token("finding", field, other))
    )


def test_closed_cases_overrule_the_catalogue():
    strange = token("symptom", "brake_squeal|")
    cases = [a_case(f"C{i}", "condenser_fan_dead", strange, said="squeals") for i in range(8)]
    rows = chances(cases, a_case("Q", None, strange, said="squeals"))
    assert rows[0].cause == "condenser_fan_dead"
    assert rows[0].cases == tuple(case.case for case in cases)


def test_a_symptom_looked_for_in_vain_speaks_against_its_causes():
    def chance(value):
        rows = chances([], a_case("Q", None, token("symptom", "no_crank|", value)))
        return next(row.chance for row in rows if row.cause == "gear_switch")

    name = "gear_switch"
    if name not in WORDS.causes or "no_crank" not in WORDS.causes[name].complaints:
        pytest.fail("the vocabulary no longer lists no_crank under gear_switch")
    assert chance("no") < chance("yes")


def test_an_overturned_case_does_not_count_as_a_witness():
    seen = token("symptom", "no_crank|")
    held = a_case("C0", "starter_relay", seen, said="dead key")
    wrong = a_case("C1", "battery_failed", seen, said="dead key", weight=0.0)
    rows = chances([held, wrong], a_case("Q", None, seen, said="dead key"))
    by_cause = {row.cause: row.chance for row in rows}
    assert by_cause["starter_relay"] > by_cause["battery_failed"]


def test_nothing_known_leaves_something_else_ahead():
    assert chances([], a_case("Q", None, said="zzz qqq"))[0].cause is None


def test_the_order_of_cases_changes_nothing():
    seen = token("symptom", "no_crank|")
    cases = [a_case("C0", "starter_relay", seen), a_case("C1", "battery_failed", seen)]
    query = a_case("Q", None, seen)
    there = {row.cause: row.chance for row in chances(cases, query)}
    back = {row.cause: row.chance for row in chances(cases[::-1], query)}
    assert there == pytest.approx(back)


@pytest.mark.source("scipy.stats", "norm.logpdf; mean and variance by hand from the formula")
def test_a_reading_counts_by_the_ratio_of_two_normal_densities():
    values = {"C0": -2.0, "C1": -1.5, "C2": 0.0, "C3": 0.2, "C4": 0.9, "C5": 1.4}
    cases = [
        CaseFeatures(
            case=name,
            cause="overcharge" if value > 0.5 else "condenser_fan_dead",
            measures=(Measure(key="a", value=value, what="a"),),
        )
        for name, value in values.items()
    ]
    index = CaseIndex().fit(cases)
    model = CauseModel(WORDS).fit(cases, index)
    query = CaseFeatures(case="Q", measures=(Measure(key="a", value=1.1, what="a"),))
    bare = CaseFeatures(case="Q")
    at = model.causes_.index("overcharge")
    got = told(model, query)[at] - told(model, bare)[at]
    scores = stats.norm.ppf((np.arange(6) + 0.5 + 0.5) / 7)
    z, mine = stats.norm.ppf((5 + 0.5) / 7), scores[4:]
    k = READING_CASES
    mean = mine.sum() / (2 + k)
    variance = (((mine - mean) ** 2).sum() + k) / (2 + k) * (1 + 1 / (2 + k))
    expected = stats.norm.logpdf(z, mean, np.sqrt(variance)) - stats.norm.logpdf(z)
    assert got == pytest.approx(expected)


def test_a_reading_that_a_cause_never_had_says_nothing_about_it():
    cases = [
        CaseFeatures(
            case=f"C{i}", cause="overcharge", measures=(Measure(key="a", value=i, what=""),)
        )
        for i in range(6)
    ]
    model = CauseModel(WORDS).fit(cases, CaseIndex().fit(cases))
    query = CaseFeatures(case="Q", measures=(Measure(key="a", value=9.0, what=""),))
    at = model.causes_.index("condenser_fan_dead")
    bare = CaseFeatures(case="Q")
    assert told(model, query)[at] == told(model, bare)[at]


def test_a_part_that_did_not_cure_weakens_its_causes_but_rules_none_out():
    def chance(*extra):
        rows = chances([], a_case("Q", None, token("symptom", "clicks_no_crank|"), *extra))
        return next(row.chance for row in rows if row.cause == "starter_worn")

    weakened = chance(token("tried", "tried|starter", "same"))
    assert 0 < weakened < chance()


def test_a_token_says_the_same_when_it_is_asked_for_again_after_many_others():
    cases = [a_case(f"C{i}", "overcharge", WARM) for i in range(3)]
    model = CauseModel(WORDS).fit(cases, CaseIndex().fit(cases))

    def told(value):
        return np.asarray(model.token_evidence(replace(WARM, value=value))).tolist()

    first, turned = told("yes"), told("no")
    for number in range(600):
        model.token_evidence(token("code", f"code|P{number:04d}"))
    assert (told("yes"), told("no")) == (first, turned)
    assert first != turned


def test_a_reading_says_the_same_when_it_is_asked_for_again_and_by_group():
    cases = [
        replace(a_case(f"C{i:03d}", ("overcharge", "starter_worn")[i % 2]), group="a" if i % 3 else "b",
                measures=(Measure(key="psi", value=float(i), what=f"psi {i}"),))
        for i in range(900)
    ]  # fmt: skip
    model = CauseModel(WORDS).fit(cases, CaseIndex().fit(cases))

    def told(value, group):
        asked = Measure(key="psi", value=value, what="")
        return np.asarray(model.measure_evidence(asked, group)).tolist()

    wanted = [(3.0, "a"), (3.0, "b"), (250.0, "a")]
    first = [told(*row) for row in wanted]
    assert first[0] != first[1]
    for number in range(600):
        told(1000.0 + number, "")
    assert [told(*row) for row in wanted] == first
    assert len(model._read) < 600


def test_the_cases_of_a_cause_are_listed_however_unlikely_it_is():
    cases = [
        a_case("C0", "overcharge", WARM, said="warm at lights"),
        a_case("C1", "starter_worn", token("symptom", "slow_crank|"), said="groans"),
    ]
    rows = chances(cases, a_case("Q", None, WARM, said="warm at lights"))
    listed = {row.cause: row.cases for row in rows}
    assert (listed["overcharge"], listed["starter_worn"]) == (("C0",), ("C1",))

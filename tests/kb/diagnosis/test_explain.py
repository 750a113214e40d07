from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb.case.terms import load_vocabulary
from kb.diagnosis.calibration import Calibration
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.chances import weighted
from kb.diagnosis.explain import MOST_AGAINST, MOST_FOR, MOST_UNKNOWN, Explainer
from kb.diagnosis.witnesses import Witnesses
from kb.retrieval.features import CaseFeatures, Token, observed_token
from kb.retrieval.index import CaseIndex
from kb.retrieval.measures import Measure

WORDS = load_vocabulary()
FAN, LEAK = "condenser_fan_dead", "low_charge_leak_condenser"
WARM = "ac_cold_on_road_warm_in_traffic"


def token(part, field, value="yes", what=""):
    return Token(part=part, field=field, value=value, what=what or field)


def measure(value):
    return Measure(key="low", value=float(value), what=f"low {value}")


SYMPTOM, CONDITION = token("symptom", f"{WARM}|"), token("condition", f"{WARM}|at_idle")
CLICK = token("finding", "relay_click|", "no_click")
CASES = [
    *(
        CaseFeatures(
            case=f"F{i}",
            cause=FAN,
            said="warm at lights fan dead",
            tokens=(SYMPTOM, CONDITION, token("code", "code|P0480", "stored")),
            measures=(measure(50 + i),),
        )
        for i in range(4)
    ),
    *(
        CaseFeatures(
            case=f"L{i}",
            cause=LEAK,
            said="warm everywhere oil film",
            tokens=(token("symptom", "ac_not_cold|"),),
            measures=(measure(10 + i),),
        )
        for i in range(5)
    ),
]


def explained(query, *, calibration=None, causes=(FAN, LEAK), cases=CASES):
    index = CaseIndex().fit(cases)
    model = CauseModel(WORDS, **({"calibration": calibration} if calibration else {}))
    model.fit(cases, index)
    found = Explainer(model).explain(query, model.entries(query), causes)
    return model, index, {row.cause: row for row in found}


def total(row):
    return sum(point.nats for point in (*row.speaks_for, *row.speaks_against)) + row.rest


QUERIES = st.builds(
    lambda said, tokens, values: CaseFeatures(
        case="Q", said=said, tokens=tuple(tokens), measures=tuple(map(measure, values[:1]))
    ),
    st.sampled_from(["", "warm at lights", "oil film", "nothing of the kind"]),
    st.lists(
        st.sampled_from(
            [
                SYMPTOM,
                CONDITION,
                token("symptom", "ac_not_cold|", "no"),
                token("code", "code|P0480", "stored"),
                token("tried", "tried|condenser fan", "same"),
                token("finding", "condenser_air_boost|", "no_change"),
                token("vehicle", "make|dunmarrow", "same"),
            ]
        ),
        unique=True,
    ),
    st.lists(st.integers(0, 60)),
)
CALIBRATIONS = [
    Calibration(temper=1.0),
    Calibration(temper=0.4, weights={"text": 0.1, "code": 2.0, f"symptom {WARM}|": -0.5}),
]


@settings(max_examples=25, deadline=None)
@given(QUERIES, st.sampled_from(CALIBRATIONS))
def test_what_is_named_and_the_rest_add_up_to_the_evidence_of_the_chances(query, calibration):
    model, index, found = explained(query, calibration=calibration)
    parts, _ = weighted(model.weigh(index.ask(query)), calibration)
    for cause, row in found.items():
        assert total(row) == pytest.approx(parts.sum(axis=0)[model.number(cause)], abs=1e-9)
        if calibration.weights == {}:
            assert total(row) == pytest.approx(
                sum(model.parts(query).values())[model.number(cause)], abs=1e-9
            )


@settings(max_examples=25, deadline=None)
@given(QUERIES)
def test_only_what_the_job_holds_is_named_strongest_first_and_never_too_much(query):
    _, _, found = explained(query)
    held = {row.what for row in (*query.tokens, *query.measures)}
    held |= {"spelling alike", "few words in common"}
    held.add("Add air over the condenser: no change")
    for row in found.values():
        assert len(row.speaks_for) <= MOST_FOR
        assert len(row.speaks_against) <= MOST_AGAINST
        assert len(row.unknown) <= MOST_UNKNOWN
        for points, sign in ((row.speaks_for, 1), (row.speaks_against, -1)):
            strength = [sign * point.nats for point in points]
            assert strength == sorted(strength, reverse=True)
            assert all(nats > 0 for nats in strength)
            for point in points:
                if point.what.startswith("words: "):
                    said = set(point.what.removeprefix("words: ").replace(",", "").split())
                    assert said <= set(query.said.split())
                else:
                    assert point.what in held


def test_a_symptom_and_its_conditions_are_one_point_said_as_the_plain_symptom():
    query = CaseFeatures(case="Q", tokens=(CONDITION, SYMPTOM))
    model, _, found = explained(query, calibration=Calibration(temper=1.0))
    (point,) = found[FAN].speaks_for
    assert point.what == SYMPTOM.what
    assert point.nats == pytest.approx(float(sum(model.parts(query).values())[model.number(FAN)]))


def test_the_counts_are_those_of_the_cases():
    query = CaseFeatures(case="Q", tokens=(SYMPTOM,), measures=(measure(52),))
    _, _, found = explained(query)
    counts = {point.what: point.counts for point in found[FAN].speaks_for}
    assert counts[SYMPTOM.what] == (
        "4 of 4 cases of this cause, 4 of 9 overall; on the trade's list"
    )
    assert counts["low 52"] == "its 4 cases: 50 to 53; half of all 9: 12 to 51"
    against = {point.what: point.counts for point in found[LEAK].speaks_against}
    assert against[SYMPTOM.what] == (
        "0 of 5 cases of this cause, 4 of 9 overall; not on the trade's list"
    )


def test_the_words_agree_with_the_sign():
    query = CaseFeatures(case="Q", said="oil film")
    _, _, found = explained(query)
    assert [point.what for point in found[LEAK].speaks_for] == ["words: oil film"]
    assert [point.what for point in found[FAN].speaks_against] == ["few words in common"]


def test_a_cause_without_a_case_is_explained_from_the_catalogue_alone():
    query = CaseFeatures(case="Q", tokens=(SYMPTOM,))
    _, _, found = explained(query, causes=("overcharge",))
    row = found["overcharge"]
    assert row.witnesses == 0
    assert row.speaks_for[0].counts == (
        "no case of this cause, 4 of 9 overall; on the trade's list"
    )
    assert {item.counts for item in row.unknown} == {"from the trade's list"}
    listed = WORDS.causes["overcharge"].expect
    assert {item.item.field.partition("|")[0] for item in row.unknown} <= set(listed)


def test_what_is_expected_of_a_cause_is_kept_and_what_the_job_holds_left_out():
    index = CaseIndex().fit(CASES)
    model = CauseModel(WORDS).fit(CASES, index)
    explainer = Explainer(model)

    def unknown(*tokens):
        query = CaseFeatures(case="Q", tokens=tokens)
        (row,) = explainer.explain(query, model.entries(query), [FAN])
        return [item.what for item in row.unknown]

    first = unknown()
    assert first == unknown()
    assert first[0] == WORDS.symptoms[WARM].say
    assert unknown(SYMPTOM)[0] == first[1]
    assert first[0] not in unknown(token("symptom", SYMPTOM.field, "no"))


def test_where_nothing_known_speaks_a_cause_is_explained_by_what_is_not_known_yet():
    model = CauseModel(WORDS).fit(CASES, CaseIndex().fit(CASES))
    for row in Explainer(model).explain(CaseFeatures(case="new"), (), (FAN, LEAK)):
        assert (row.speaks_for, row.speaks_against, row.rest) == ((), (), 0)
        assert row.unknown


def test_what_is_said_of_a_token_is_told_apart_by_part_value_cause_and_side():
    model = CauseModel(WORDS).fit(CASES, CaseIndex().fit(CASES))
    kept = Explainer(model)
    own = (SYMPTOM, CONDITION, CLICK, token("symptom", "ac_not_cold|"))
    tokens = [*own, *(replace(row, value="no") for row in own), replace(CLICK, part="clause")]
    for _ in range(2):
        for row, cause, side in product(tokens, (FAN, LEAK), (True, False)):
            witnesses = Witnesses(model, cause)
            said = kept._counts_of(row, witnesses, speaks_for=side)
            assert said == witnesses.counts(row, speaks_for=side)


def test_points_are_weighed_as_the_calibration_says():
    query = CaseFeatures(case="Q", tokens=(SYMPTOM,))
    plain = explained(query, calibration=Calibration(temper=1.0))[2][FAN].speaks_for[0].nats
    half = explained(query, calibration=Calibration(temper=0.5))[2][FAN].speaks_for[0].nats
    assert half == pytest.approx(plain / 2)
    assert np.isfinite(plain)


def test_what_findings_say_together_is_one_point_of_its_own():
    def seen(case, cause, number):
        hot = "yes" if number % 5 < 2 + (cause == FAN) else "no"
        tokens = tuple(observed_token(name, hot) for name in ("heat", "steam", "smoke"))
        return CaseFeatures(case=case, cause=cause, tokens=tokens)

    rows = [seen(f"C{i:02}", (FAN, LEAK)[i % 2], i // 2) for i in range(80)]
    query = seen("Q", FAN, 0)
    model, index, rows_of = explained(query, cases=rows)
    row = rows_of[FAN]
    points = {point.what: point for point in (*row.speaks_for, *row.speaks_against)}
    # Three that repeat each other say no more than one: the rest is taken back.
    assert points["what is found, taken together"].nats < 0
    parts, _ = weighted(model.weigh(index.ask(query)), model.calibration)
    assert total(row) == pytest.approx(parts[:, model.number(FAN)].sum())

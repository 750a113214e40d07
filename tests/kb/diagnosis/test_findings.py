"""Chances and gains against exact inference by enumeration of a small network."""

import itertools
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from kb.diagnosis.calibration import Calibration
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.findings import FieldTables, expected_shares, fuller_chances, next_findings
from kb.retrieval.features import OBSERVED, CaseFeatures, observed_token
from kb.retrieval.index import CaseIndex
from kb.workflow.records import bare_words

# A small network, invented: three causes, three findings that depend on the cause alone.
CAUSES = {"belt": 0.5, "pump": 0.3, "valve": 0.2}
YES = {
    "noise": {"belt": 0.9, "pump": 0.4, "valve": 0.1},
    "heat": {"belt": 0.2, "pump": 0.8, "valve": 0.5},
    "leak": {"belt": 0.1, "pump": 0.5, "valve": 0.6},
}
PLAIN = Calibration(temper=1.0, vote=0.0, least_other=0.0, other=-50.0)


def joint(cause, **seen):
    """P(cause, seen) by summing the full table over everything that was not seen."""
    total = 0.0
    for values in itertools.product(("yes", "no"), repeat=len(YES)):
        row = dict(zip(YES, values, strict=True))
        if all(row[name] == value for name, value in seen.items()):
            part = CAUSES[cause]
            for name, value in row.items():
                part *= YES[name][cause] if value == "yes" else 1 - YES[name][cause]
            total += part
    return total


def posterior(**seen):
    parts = {cause: joint(cause, **seen) for cause in CAUSES}
    return {cause: part / sum(parts.values()) for cause, part in parts.items()}


def exact_gain(name, **seen):
    def entropy(chances):
        return -sum(p * np.log2(p) for p in chances.values() if p)

    evidence = sum(joint(cause, **seen) for cause in CAUSES)
    after = 0.0
    for value in ("yes", "no"):
        known = {**seen, name: value}
        share = sum(joint(cause, **known) for cause in CAUSES) / evidence
        after += share * entropy(posterior(**known))
    return entropy(posterior(**seen)) - after


def record(name, cause, **seen):
    return CaseFeatures(
        case=name, cause=cause, tokens=tuple(observed_token(k, v) for k, v in seen.items())
    )


def in_proportion(size=2000):
    """Cases in the proportions of the full table, so that no draw stands between."""
    rows = []
    for cause in CAUSES:
        for values in itertools.product(("yes", "no"), repeat=len(YES)):
            seen = dict(zip(YES, values, strict=True))
            rows += [(cause, seen)] * round(size * joint(cause, **seen))
    return [record(f"C{i:05}", cause, **seen) for i, (cause, seen) in enumerate(rows)]


@pytest.fixture(scope="module")
def model():
    cases = in_proportion()
    index = CaseIndex().fit(cases)
    return CauseModel(bare_words(), calibration=PLAIN).fit(cases, index)


SEEN = [{}, {"noise": "yes"}, {"noise": "no", "leak": "yes"}, {"heat": "no", "leak": "no"}]


@pytest.mark.source("enumeration", "the full table of a small network, summed here")
@pytest.mark.parametrize("seen", SEEN, ids=str)
def test_chances_equal_exact_inference(model, seen):
    got = {r.cause: r.chance for r in model.chances(model.index.ask(record("Q", None, **seen)))}
    for cause, chance in posterior(**seen).items():
        assert got[cause] == pytest.approx(chance, abs=0.01)


@pytest.mark.source("enumeration", "exact information gain of the same network")
@pytest.mark.parametrize("seen", SEEN, ids=str)
def test_the_suggested_finding_is_the_one_of_the_largest_exact_gain(model, seen):
    asked = model.index.ask(record("Q", None, **seen))
    found = next_findings(model, asked, model.chances(asked))
    exact = {name: exact_gain(name, **seen) for name in YES if name not in seen}
    assert found[0].field == OBSERVED + max(exact, key=lambda name: exact[name])
    assert {row.field for row in found} == {OBSERVED + name for name in exact}
    for row in found:
        assert row.bits == pytest.approx(exact[row.field.removeprefix(OBSERVED)], abs=0.06)


def test_a_finding_that_has_one_value_only_is_never_suggested():
    cases = [record(f"C{i}", "belt" if i % 2 else "pump", noise="yes") for i in range(8)]
    model = CauseModel(bare_words()).fit(cases, CaseIndex().fit(cases))
    asked = model.index.ask(record("Q", None))
    assert next_findings(model, asked, model.chances(asked)) == ()


def test_only_the_fields_asked_for_are_weighed(model):
    asked = model.index.ask(record("Q", None))
    found = next_findings(model, asked, model.chances(asked), fields=[OBSERVED + "leak"])
    assert [row.field for row in found] == [OBSERVED + "leak"]


def test_what_to_expect_of_a_finding_is_by_cause_and_for_all_together(model):
    asked = model.index.ask(record("Q", None, noise="yes"))
    found = expected_shares(model, asked)
    assert set(found) == {OBSERVED + name for name in YES}
    for name, table in found.items():
        assert table.shape == (len(CAUSES) + 1, 2)
        assert table.sum(axis=1) == pytest.approx(1)
        at = model.index.values_of_[name].index("yes")
        if name != OBSERVED + "noise":
            exact = [YES[name.removeprefix(OBSERVED)][cause] for cause in model.causes_]
            assert table[:-1, at] == pytest.approx(exact, abs=0.02)


def test_the_tables_of_several_findings_are_those_of_each(model):
    tables = FieldTables(model, ["leak", "never", "noise", "heat"])
    assert list(tables.at) == ["leak", "noise", "heat"]
    asked = model.index.ask(record("Q", None, noise="yes"))
    each = expected_shares(model, asked)
    for name, table in zip(["heat", "leak"], tables.expected(["heat", "leak"], asked), strict=True):
        assert np.array_equal(table, each[OBSERVED + name][:-1])
    for name, table in zip(["heat", "leak"], tables.overall(["heat", "leak"]), strict=True):
        assert np.array_equal(table, model.recorded(OBSERVED + name)[1])
    assert FieldTables(model, []).expected([], asked) == ()


def test_at_full_weight_the_chances_for_choosing_are_those_that_are_shown(model):
    asked = model.index.ask(record("Q", None, noise="yes", leak="no"))
    chances = model.chances(asked)
    assert fuller_chances(model, asked, chances) == pytest.approx([row.chance for row in chances])


def test_findings_held_down_count_for_more_when_the_next_one_is_chosen():
    cases = in_proportion()
    index = CaseIndex().fit(cases)
    held = CauseModel(bare_words(), calibration=replace(PLAIN, temper=0.4)).fit(cases, index)
    asked = index.ask(record("Q", None, noise="yes", leak="no"))
    chances = held.chances(asked)
    fuller = fuller_chances(held, asked, chances)
    assert fuller.sum() == pytest.approx(1)
    assert fuller[0] > chances[0].chance


# --- laws ----------------------------------------------------------------------------------------


def evidence(model, **seen):
    return sum(model.parts(record("Q", None, **seen)).values())


def test_a_recorded_no_says_something_and_an_unrecorded_finding_nothing(model):
    at = model.causes_.index("belt")
    assert evidence(model)[at] == 0
    assert evidence(model, noise="no")[at] < 0 < evidence(model, noise="yes")[at]


def test_a_finding_that_no_case_recorded_changes_nothing(model):
    assert np.array_equal(evidence(model, noise="no"), evidence(model, noise="no", smell="sweet"))


def test_the_order_of_cases_changes_no_chance(model):
    cases = in_proportion()[::-1]
    again = CauseModel(bare_words(), calibration=PLAIN).fit(cases, CaseIndex().fit(cases))
    query = record("Q", None, noise="yes", leak="yes")
    assert again.chances(again.index.ask(query)) == model.chances(model.index.ask(query))


def test_a_case_taken_out_and_put_back_leaves_every_score_as_it_was(model):
    cases = in_proportion()
    query = record("Q", None, noise="yes", leak="yes")
    without = CaseIndex().fit(cases[1:]).scores(query)
    back = CaseIndex().fit([*cases[1:], cases[0]]).scores(query)
    assert len(without) == len(back) - 1
    assert np.array_equal(back, model.index.scores(query))


def test_recorded_values_agree_in_both_directions_alike():
    cases = in_proportion(300)
    index = CaseIndex().fit(cases)
    counted = Counter(tuple(t.value for t in case.tokens) for case in cases)
    kinds = [next(c for c in cases if tuple(t.value for t in c.tokens) == k) for k in counted]
    for one, other in itertools.combinations(kinds, 2):
        there = index.scores(one)[index.ids_.index(other.case)]
        back = index.scores(other)[index.ids_.index(one.case)]
        assert there == pytest.approx(back, abs=1e-12)

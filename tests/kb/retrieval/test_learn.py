from dataclasses import replace

import numpy as np
import pytest
from sklearn.linear_model import Ridge

from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.learn import _ridge, _turned, fit_learned, half_told

PARTS = {"pump": ("leaking", "noisy"), "hose": ("leaking", "split"), "fan": ("noisy", "dead")}
PLACES = ("front", "rear", "left", "right", "upper", "lower")


def cases():
    made = []
    for number in range(48):
        part = tuple(PARTS)[number % 3]
        fault = PARTS[part][number // 3 % 2]
        place = PLACES[number // 6 % 6]
        made.append(
            CaseFeatures(
                case=f"C{number:02}",
                said=f"{place} {part} {fault} again",
                labels=(("part", part), ("sign", fault), ("sign", f"{part} {fault}")),
            )
        )
    return made


@pytest.fixture(scope="module")
def learned():
    found = fit_learned(cases())
    assert found is not None
    return found


def ask(text, told=""):
    return CaseFeatures(case="Q", said=text, told=told)


def test_a_field_that_words_tell_is_learned_with_high_skill(learned):
    skill = {model.field: model.skill for model in learned.fields}
    assert skill["part"] > 0.7
    assert [model.single for model in learned.fields] == [True, False]


def test_a_stored_field_that_the_words_point_to_lifts_its_case(learned):
    index = CaseIndex().fit(cases()).attach(learned)
    found = index.search(ask("pump noisy"), top=1)[0]
    lines = {reason.what: reason.weight for reason in found.reasons if reason.part == "learned"}
    assert lines["the words point to part pump"] > 0


def test_a_case_without_the_field_gets_exactly_0(learned):
    rows = cases()
    rows[5] = replace(rows[5], labels=())
    index = CaseIndex().fit(rows)
    before = index.scores(ask("fan dead"))
    after = index.attach(learned).scores(ask("fan dead"))
    assert after[5] == before[5]
    assert np.all(after[:5] != before[:5])


@pytest.mark.parametrize("text", ["", "zzz qqq"])
def test_a_text_without_a_known_word_changes_nothing(learned, text):
    index = CaseIndex().fit(cases())
    before = index.scores(ask(text))
    assert np.array_equal(index.attach(learned).scores(ask(text)), before)


def test_the_weights_of_the_reasons_add_up_with_what_was_learned(learned):
    index = CaseIndex().fit(cases()).attach(learned)
    for match in index.search(ask("rear hose split"), top=48):
        assert sum(r.weight for r in match.reasons) == pytest.approx(match.score, abs=1e-9)


def test_the_order_of_cases_changes_nothing(learned):
    again = fit_learned(cases()[::-1])
    assert again is not None
    for model, other in zip(learned.fields, again.fields, strict=True):
        assert np.array_equal(model.slopes, other.slopes)
        assert (model.values, model.shape, model.skill) == (other.values, other.shape, other.skill)


def test_a_half_told_job_is_read_as_well(learned):
    index = CaseIndex().fit(cases()).attach(learned)
    best = index.search(ask(half_told("front fan dead again")), top=3)
    assert half_told("front fan dead again") == "front dead"
    assert all(("sign", "fan dead") in cases()[match.row].labels for match in best)


def test_fields_that_words_do_not_tell_weigh_next_to_nothing():
    rng = np.random.default_rng(3)
    noise = [replace(c, labels=(("colour", str(rng.integers(3))),)) for c in cases()]
    found = fit_learned(noise)
    assert found is not None
    assert all(model.skill < 0.1 for model in found.fields)


@pytest.mark.parametrize("few", [[], cases()[:3], [replace(c, labels=()) for c in cases()]])
def test_too_little_to_learn_from_gives_nothing(few):
    found = fit_learned(few)
    assert found is None or found.fields == ()


@pytest.mark.source("scikit-learn 1.9", "Ridge refitted without the rows of the case")
def test_predictions_leave_out_both_rows_of_a_case_exactly():
    rng = np.random.default_rng(1)
    whole, half = rng.normal(size=(2, 12, 4))
    truth = rng.random((12, 2)) > 0.5
    _, out = _ridge(_turned(whole, half), truth, 0.7)
    rest = truth - truth.mean(axis=0)
    for row in range(12):
        others = np.arange(12) != row
        oracle = Ridge(alpha=0.7, fit_intercept=False)
        oracle.fit(np.vstack([whole[others], half[others]]), np.vstack([rest[others]] * 2))
        expected = oracle.predict(np.stack([whole[row], half[row]])) + truth.mean(axis=0)
        np.testing.assert_allclose(out[:, row], expected, atol=1e-9)

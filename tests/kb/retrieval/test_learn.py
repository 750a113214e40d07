from dataclasses import replace

import numpy as np
import pytest
from sklearn.linear_model import Ridge

from kb.retrieval.features import CaseFeatures
from kb.retrieval.learn import _ridge, _turned, fit_learned

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


def test_the_order_of_cases_changes_nothing(learned):
    again = fit_learned(cases()[::-1])
    assert again is not None
    for model, other in zip(learned.fields, again.fields, strict=True):
        assert np.array_equal(model.slopes, other.slopes)
        assert (model.values, model.shape, model.skill) == (other.values, other.shape, other.skill)


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

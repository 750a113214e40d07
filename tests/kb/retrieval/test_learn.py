from dataclasses import replace

import numpy as np
import pytest
from sklearn.linear_model import Ridge
from sklearn.metrics.pairwise import rbf_kernel

from kb.retrieval import learn
from kb.retrieval.features import CaseFeatures
from kb.retrieval.learn import _ridge, _turned, fit_learned, half_told
from kb.retrieval.learned import WIDTH

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
    named = rng.normal(size=(2, 4))
    truth = rng.random((12, 2)) > 0.5
    _, out = _ridge(_turned(whole, half, named), truth, 0.7)
    rest, names = truth - truth.mean(axis=0), np.eye(2) - truth.mean(axis=0)
    for row in range(12):
        others = np.arange(12) != row
        oracle = Ridge(alpha=0.7, fit_intercept=False)
        oracle.fit(
            np.vstack([whole[others], half[others], named]),
            np.vstack([rest[others], rest[others], names]),
        )
        expected = oracle.predict(np.stack([whole[row], half[row]])) + truth.mean(axis=0)
        np.testing.assert_allclose(out[:, row], expected, atol=1e-9)


def chance_of(found, value, text):
    model = next(model for model in found.fields if model.field == "part")
    return model.log_chances(found.point(text))[model.values.index(value)]


def test_the_name_of_a_value_is_a_text_that_says_it():
    coded = {"pump": "Bilge lifter", "hose": "Rubber pipe", "fan": "Air mover"}
    named = [replace(c, labels=(("part", coded[c.labels[0][1]]),)) for c in cases()]
    found = fit_learned(named)
    assert found is not None
    told = {name: chance_of(found, name, "air mover") for name in coded.values()}
    assert max(told, key=told.__getitem__) == "Air mover"


def test_a_value_that_came_once_is_known_among_few_cases():
    once = replace(cases()[0], case="C99", said="odd gearbox", labels=(("part", "gearbox"),))
    found = fit_learned([*cases(), once])
    assert found is not None
    assert chance_of(found, "gearbox", "gearbox") > chance_of(found, "gearbox", "upper hose")


def test_many_cases_are_told_by_the_axes_alone(monkeypatch, learned):
    monkeypatch.setattr(learn, "MOST_COMPARED", 20)
    many = fit_learned(cases())
    assert many is not None
    assert (len(learned.marks) > 48, len(many.marks)) == (True, 0)
    for found in (learned, many):
        assert chance_of(found, "fan", "upper fan dead") > chance_of(
            found, "hose", "upper fan dead"
        )


@pytest.mark.source("scikit-learn 1.9", "metrics.pairwise.rbf_kernel of the texts' own weights")
def test_a_text_lies_by_how_near_it_is_to_all_texts_and_names(learned):
    names = sorted({value for case in cases() for _, value in case.labels})
    marks = learned.matrix([*(case.said for case in cases()), *names]).toarray()
    asked = learned.matrix(["lower pump split"]).toarray()
    flat = asked @ learned.axes.astype(float)
    oracle = rbf_kernel(flat, marks @ learned.axes.astype(float), gamma=1 / (2 * WIDTH))
    np.testing.assert_allclose(learned.point("lower pump split"), oracle[0], atol=1e-5)
    np.testing.assert_allclose(
        learned.points(learned.matrix(["lower pump split"])), oracle, atol=1e-5
    )


def test_a_phrase_that_is_too_short_is_never_half_told():
    assert half_told("will not start", 4) == "will not start"
    assert half_told("will not start today", 4) == "will start"
    assert half_told("will not start") == "will start"

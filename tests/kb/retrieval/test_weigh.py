from dataclasses import replace

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression

from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.learned import Learned
from kb.retrieval.measures import Measure
from kb.retrieval.weigh import GROUPS, LEARNED, _fit, fit_weights
from tests.kb.retrieval.test_learn import cases


def known(copies=4):
    return [
        replace(case, case=f"{case.case}{n}", cause=case.labels[0][1])
        for case in cases()
        for n in range(copies)
    ]


def shop(n_cases=400, *, seed=1):
    """A shop whose readings follow the cause and whose symptoms say one rumour six times over."""
    rng = np.random.default_rng(seed)
    made = []
    for number in range(n_cases):
        cause = int(rng.integers(8))
        rumour = cause if rng.random() < 0.4 else int(rng.integers(8))
        fields = [f"s{rumour}{again}|" for again in range(6)]
        made.append(
            CaseFeatures(
                case=f"C{number:04}",
                cause=f"c{cause}",
                tokens=tuple(Token(part="symptom", field=f, value="yes", what=f) for f in fields),
                measures=tuple(
                    Measure(
                        key=f"r{bit}", value=2 * (cause >> bit & 1) + rng.normal(0, 0.7), what=""
                    )
                    for bit in range(3)
                ),
            )
        )
    return made


def test_fields_that_tell_the_cause_are_given_weight():
    assert fit_weights(known())[LEARNED] > 0.1


def test_a_part_that_tells_the_cause_counts_more_than_one_that_does_not():
    weights = fit_weights(shop())
    assert weights["reading"] > 1.2 * weights["said"]


def test_fitted_weights_put_more_cases_of_the_right_cause_first():
    stored, asked = shop(300), shop(200, seed=2)
    index = CaseIndex().fit(stored)

    def hits():
        first = [index.causes_[int(np.argmax(index.scores(case)))] for case in asked]
        return sum(a == b.cause for a, b in zip(first, asked, strict=True))

    plain = hits()
    index.attach(Learned(spaces={}, parts=fit_weights(stored)))
    assert hits() > plain


def test_the_order_of_cases_changes_no_weight():
    assert fit_weights(known()[::-1]) == fit_weights(known())


def test_too_few_pairs_leave_the_plain_weights():
    assert fit_weights(known(copies=1)[:12]) == {}
    assert fit_weights([]) == {}


@pytest.mark.source("scikit-learn LogisticRegression", "same weights where the ridge is nothing")
def test_weights_equal_a_reference_library_on_many_pairs():
    rng = np.random.default_rng(4)
    parts = rng.normal(1, 1, (len(GROUPS), 200_000))
    odds = np.linspace(0.5, 1.0, len(GROUPS)) @ parts - 6
    same = rng.random(200_000) < 1 / (1 + np.exp(-odds))
    ours = np.array(list(_fit(parts, same).values()))
    reference = LogisticRegression(C=np.inf).fit(parts.T, same).coef_[0]
    assert ours / ours.mean() == pytest.approx(reference / reference.mean(), rel=0.01)

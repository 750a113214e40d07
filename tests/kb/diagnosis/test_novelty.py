import math
from dataclasses import replace

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression

from kb.diagnosis.novelty import SIGNS, fit_novelty, novelty_chance, novelty_signs, oddness
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.measures import Measure

RNG = np.random.default_rng(2)
DRAWN = RNG.normal(size=(400, 2)) * (1.0, 5.0) + (0.0, 3.0)
NEW = RNG.random(400) < 1 / (1 + np.exp(-(DRAWN[:, 0] - 0.3 * DRAWN[:, 1])))


@pytest.mark.source("scikit-learn", "LogisticRegression(C=1/.3) on standardised columns")
def test_weights_equal_a_reference_library():
    weights, level = fit_novelty(DRAWN, NEW, share=float(NEW.mean()))
    scaled = (DRAWN - DRAWN.mean(axis=0)) / DRAWN.std(axis=0)
    known = LogisticRegression(C=1 / 0.3, tol=1e-8).fit(scaled, NEW)
    expected = known.predict_proba(scaled)[:, 1]
    got = [novelty_chance(row, weights, level) for row in DRAWN]
    assert got == pytest.approx(expected, abs=1e-4)


def test_a_smaller_share_of_new_causes_lowers_every_chance_and_no_order():
    few, many = (fit_novelty(DRAWN, NEW, share=share) for share in (0.05, 0.4))
    below = np.array([novelty_chance(row, *few) for row in DRAWN])
    above = np.array([novelty_chance(row, *many) for row in DRAWN])
    assert (below < above).all()
    assert np.array_equal(np.argsort(below), np.argsort(above))


def test_a_sign_that_never_changes_has_no_say():
    still = np.column_stack([DRAWN, np.full(400, 7.0)])
    assert fit_novelty(still, NEW, share=0.2)[0][2] == pytest.approx(0, abs=1e-9)


@pytest.mark.source("by hand", "parts 2, -1 and 0, 0; best is the first cause with level ln .5")
def test_signs_of_one_job():
    level, parts = np.log([0.5, 0.5]), np.array([[2.0, 0.0], [-1.0, 0.0]])
    got = novelty_signs(parts, level, level, odd=np.array([4.0, 3.0, 2.0, 2.0]))
    total = np.log(0.5 * math.e + 0.5)
    best = 1 + np.log(0.5)
    assert len(got) == len(SIGNS)
    share = math.e / (math.e + 1)
    doubt = -share * np.log(share) - (1 - share) * np.log(1 - share)
    half = np.log(0.5)
    assert got == pytest.approx([total, best - total, 1.0, -1.0, half, doubt, half, 4, 3, 2, 2])


def test_what_is_odd_about_a_job_is_what_few_cases_have():
    def token(field):
        return Token(part="symptom", field=field, value="yes", what=field)

    cases = [
        CaseFeatures(
            case=f"C{i}",
            tokens=(token("often|"), *((token("seldom|"),) if i == 0 else ())),
            measures=(Measure(key="low", value=float(i), what="low"),),
        )
        for i in range(9)
    ]
    index = CaseIndex().fit(cases)
    often = oddness(index, CaseFeatures(case="Q", tokens=(token("often|"),)), 2)
    seldom = oddness(index, CaseFeatures(case="Q", tokens=(token("seldom|"),)), 2)
    # By hand: ln(10/9.5) and ln(10/1.5), with half a case added above and one below.
    assert often[1] == pytest.approx(np.log(10 / 9.5))
    assert seldom[1] == pytest.approx(np.log(10 / 1.5))
    assert (often[2], often[3]) == (1, 2)
    middle = CaseFeatures(case="Q", measures=(Measure(key="low", value=4.0, what="low"),))
    far = CaseFeatures(case="Q", measures=(Measure(key="low", value=99.0, what="low"),))
    assert oddness(index, middle, 1)[0] == pytest.approx(0)
    # A value above all nine has the normal score of 9.5 tenths: 1.645.
    assert oddness(index, far, 1)[0] == pytest.approx(1.645**2 / 2, abs=1e-3)
    looked_for = CaseFeatures(case="Q", tokens=(replace(token("often|"), value="no"),))
    assert oddness(index, looked_for, 1)[1] == 0

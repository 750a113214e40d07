"""What was said against what came true, on answers counted by hand."""

import numpy as np
import pytest
from sklearn.calibration import calibration_curve

from kb.diagnosis.measure import Answered, wilson_interval
from kb.diagnosis.reliability import BANDS, reliability, risk_coverage


def answer(chance, truth="a"):
    return Answered(causes=("a", "b", None), chances=(chance, 1 - chance, 0.0), truth=truth)


def test_bands_count_what_was_said_and_what_came_true():
    bands = reliability([answer(0.95), answer(0.92, "b"), answer(0.5), answer(1.0)])
    assert [(b.low, b.high, b.answers, b.right) for b in bands] == [
        (0.4, 0.6, 1, 1),
        (0.9, 1.0, 3, 2),
    ]
    assert bands[1].said == pytest.approx((0.95 + 0.92 + 1.0) / 3)
    assert bands[1].interval == wilson_interval(2, 3)


def test_something_else_is_right_where_the_cause_was_never_stored():
    row = Answered(causes=(None, "a"), chances=(0.7, 0.3), truth="z")
    assert reliability([row])[0].right == 1


@pytest.mark.source("scikit-learn calibration_curve", "same shares in bands of equal width")
def test_shares_equal_a_reference_library_on_equal_bands():
    rng = np.random.default_rng(1)
    said = rng.uniform(0.8, 1.0, 400)
    came = rng.random(400) < said
    rows = [answer(float(s), "a" if c else "b") for s, c in zip(said, came, strict=True)]
    ours = {b.low: (b.right / b.answers, b.said) for b in reliability(rows)}
    true, mean = calibration_curve(came, said, n_bins=10)
    assert ours[0.8] == pytest.approx((true[0], mean[0]))
    assert ours[0.9] == pytest.approx((true[1], mean[1]))


def test_the_surest_answers_come_first():
    rows = [answer(0.9), answer(0.8), answer(0.7, "b"), answer(0.6, "b")]
    assert [(c.share, c.answers, c.wrong) for c in risk_coverage(rows)] == [
        (0.25, 1, 0),
        (0.5, 2, 0),
        (0.75, 3, 1),
        (1.0, 4, 2),
    ]


def test_nothing_asked_is_nothing_told():
    assert reliability([]) == ()
    assert risk_coverage([]) == ()
    assert BANDS[0] == 0.0
    assert BANDS[-1] == 1.0

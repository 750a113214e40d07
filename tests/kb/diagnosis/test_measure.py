import math
import random

import ir_measures
import numpy as np
import pytest
from ir_measures import RR, Success, nDCG
from sklearn.metrics import roc_auc_score

from kb.diagnosis.measure import (
    Answered,
    brier_score,
    calibration_error,
    chance_of_truth,
    mean_error,
    ratio_error,
    ratio_interval,
    score_causes,
    score_chances,
    score_rankings,
    separation,
    wilson_interval,
)


@pytest.mark.source("ir-measures (pytrec_eval)", "nDCG@10, Success@k, RR@10 on random rankings")
def test_ranking_measures_equal_a_reference_library():
    rng = random.Random(7)
    docs = [f"d{i:03d}" for i in range(60)]
    rankings, judged, run = {}, {}, {}
    for q in range(40):
        order = rng.sample(docs, 10)
        rankings[f"q{q}"] = order
        run[f"q{q}"] = {doc: 100.0 - at for at, doc in enumerate(order)}
        judged[f"q{q}"] = {doc: rng.choice([0, 1, 2]) for doc in rng.sample(docs, 12)}
        judged[f"q{q}"]["d000"] = 1
    measures = [nDCG @ 10, Success @ 1, Success @ 3, Success @ 5, RR @ 10]
    expected = ir_measures.calc_aggregate(measures, judged, run)
    got = score_rankings(rankings, judged)
    for key, measure in zip(
        ("ndcg@10", "hit@1", "hit@3", "hit@5", "mrr@10"), measures, strict=True
    ):
        assert got[key] == pytest.approx(expected[measure], abs=1e-9)


def rows():
    return [
        Answered(causes=("a", "b", None), chances=(0.7, 0.2, 0.1), truth="a"),
        Answered(causes=("a", None, "b"), chances=(0.5, 0.3, 0.2), truth="b"),
    ]


@pytest.mark.source("by hand", "(.3^2+.2^2+.1^2) and (.5^2+.3^2+.8^2), mean of .14 and .98")
def test_brier_score_is_the_mean_squared_distance():
    assert brier_score(rows()) == pytest.approx((0.14 + 0.98) / 2)


@pytest.mark.source("by hand", "one answer a bin: |.7 - 1| and |.5 - 0|, mean .4")
def test_calibration_error_compares_what_was_said_with_what_came_true():
    assert calibration_error(rows()) == pytest.approx(0.4)


def test_ranks_leave_something_else_out():
    got = score_causes(rows())
    assert got["hit@1"] == 0.5
    assert got["hit@3"] == 1.0
    assert got["mrr"] == pytest.approx(0.75)


@pytest.mark.source("Wilson 1927", "3 of 41: 2.5 % to 19.4 %; 0 of 30: up to 11.4 %")
def test_wilson_interval():
    assert wilson_interval(3, 41) == pytest.approx((0.025, 0.194), abs=5e-4)
    assert wilson_interval(0, 30)[1] == pytest.approx(0.114, abs=5e-4)
    assert wilson_interval(0, 0) == (0.0, 1.0)


@pytest.mark.source("by hand", "mean of -ln .7 and -ln .2; .9 is never said")
def test_surprise_is_the_mean_logarithm_of_what_was_said():
    got = score_chances(rows())
    assert got["nll"] == pytest.approx(-(math.log(0.7) + math.log(0.2)) / 2)
    assert got["sure_share"] == 0
    assert "sure_right" not in got


def test_what_was_said_with_certainty_is_counted():
    sure = Answered(causes=("a", None), chances=(0.95, 0.05), truth="a")
    wrong = Answered(causes=("a", None), chances=(0.92, 0.08), truth="z")
    got = score_chances([*rows(), sure, wrong])
    assert (got["sure_share"], got["sure_right"]) == (0.5, 0.5)


def test_an_unnamed_truth_is_something_else():
    unnamed = Answered(causes=("a", None), chances=(0.9, 0.1), truth="z")
    assert chance_of_truth(unnamed) == 0.1
    assert chance_of_truth(Answered(causes=("a",), chances=(1.0,), truth="z")) == 0.0


@pytest.mark.source("scikit-learn", "roc_auc_score, with ties")
def test_separation_equals_a_reference_library():
    rng = random.Random(3)
    inside = [rng.choice([0.1, 0.2, 0.3, 0.4]) for _ in range(50)]
    outside = [rng.choice([0.2, 0.3, 0.4, 0.5]) for _ in range(30)]
    expected = roc_auc_score([0] * 50 + [1] * 30, inside + outside)
    assert separation(inside, outside) == pytest.approx(expected)


@pytest.mark.source("by hand", "deviations -1, 0, 1: sd 1, error 1 / sqrt 3")
def test_error_of_a_mean():
    assert mean_error([4.0, 5.0, 6.0]) == pytest.approx(1 / np.sqrt(3))
    assert mean_error([4.0]) == 0


@pytest.mark.source("bootstrap", "4,000 draws of 200 pairs")
def test_error_of_a_ratio_of_pairs():
    rng = np.random.default_rng(5)
    below = rng.gamma(4, 20, 200)
    above = 0.5 * below + rng.gamma(2, 10, 200)
    drawn = rng.integers(0, 200, (4000, 200))
    ratios = above[drawn].mean(axis=1) / below[drawn].mean(axis=1)
    assert ratio_error(above.tolist(), below.tolist()) == pytest.approx(ratios.std(), rel=0.1)
    assert ratio_error(below.tolist(), below.tolist()) == pytest.approx(0, abs=1e-12)


@pytest.mark.source("R Core Team, qt(0.975, 9) = 2.262157", "from memory")
def test_interval_of_a_ratio_is_student_s_around_its_error():
    above, below = [1.0, 2.0] * 5, [10.0] * 10
    ratio, low, high = ratio_interval(above, below)
    assert ratio == pytest.approx(0.15)
    half = 2.262157 * ratio_error(above, below)
    assert [low, high] == pytest.approx([0.15 - half, 0.15 + half])


@pytest.mark.parametrize("pairs", [10, 60])
def test_interval_of_a_ratio_holds_the_true_one_about_as_often_as_it_says(pairs):
    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(400):
        below = rng.lognormal(2.0, 0.5, pairs)
        above = rng.exponential(0.4, pairs)
        _, low, high = ratio_interval(above.tolist(), below.tolist())
        hits += low <= 0.4 / np.exp(2.125) <= high
    assert 0.86 <= hits / 400 <= 0.98

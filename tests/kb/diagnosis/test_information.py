import numpy as np
import pytest

from kb.diagnosis.information import (
    entropy_bits,
    information_gain,
    information_gains,
    joint_shares,
)

# Quinlan's 14 mornings: counts of (yes, no) for each value of an attribute.
TENNIS = {
    "outlook": ([(2, 3), (4, 0), (3, 2)], 0.2467),
    "humidity": ([(3, 4), (6, 1)], 0.1518),
    "wind": ([(6, 2), (3, 3)], 0.0481),
    "temperature": ([(2, 2), (4, 2), (3, 1)], 0.0292),
}


@pytest.mark.source("Quinlan 1986, Induction of decision trees", "section 4, 14 examples, gains")
@pytest.mark.parametrize("attribute", TENNIS)
def test_information_gain_of_quinlans_weather(attribute):
    counts, expected = TENNIS[attribute]
    table = np.array(counts, float).T
    chances = table.sum(axis=1) / table.sum()
    shares = table / table.sum(axis=1, keepdims=True)
    assert information_gain(chances, shares) == pytest.approx(expected, abs=5e-5)


@pytest.mark.source("Quinlan 1986", "entropy of 9 and 5 of 14: 0.940 bit")
def test_entropy():
    assert float(entropy_bits(np.array([9 / 14, 5 / 14]))) == pytest.approx(0.940, abs=5e-4)
    assert float(entropy_bits(np.array([1.0, 0.0]))) == 0


def test_a_check_that_every_cause_answers_alike_tells_nothing():
    shares = np.tile([0.2, 0.8], (3, 1))
    assert information_gain(np.array([0.5, 0.3, 0.2]), shares) == pytest.approx(0, abs=1e-12)


def test_two_checks_together_tell_what_both_tell_where_each_settles_its_own_cause():
    chances = np.full(4, 0.25)
    first = np.array([[1.0, 0], [1, 0], [0, 1], [0, 1]])
    second = np.array([[1.0, 0], [0, 1], [1, 0], [0, 1]])
    assert information_gain(chances, joint_shares(first, second)) == pytest.approx(2)
    assert information_gain(chances, joint_shares(first, first)) == pytest.approx(1)


def test_the_gains_of_several_checks_are_those_of_each():
    rng = np.random.default_rng(2)
    chances = rng.dirichlet(np.ones(5))
    tables = [rng.dirichlet(np.ones(width), size=5) for width in (2, 3, 2, 4)]
    tables.append(np.eye(5))
    alone = [information_gain(chances, table) for table in tables]
    assert information_gains(chances, tables) == pytest.approx(alone)
    assert information_gains(chances, []).shape == (0,)

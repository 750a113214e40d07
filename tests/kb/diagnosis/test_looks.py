"""The order of looks against a search of all orders."""

import itertools

import numpy as np
import pytest

from kb.diagnosis.looks import (
    best_check,
    better_to_look,
    expected_minutes,
    look_order,
    minutes_after,
)


def cost(order, chances, minutes):
    total, left = 0.0, 1.0
    for at in order:
        total += minutes[at] * left
        left -= chances[at]
    return total


@pytest.mark.source("brute force", "all 720 orders of six causes, 60 random instances")
def test_chance_over_minutes_is_the_order_of_least_expected_minutes():
    rng = np.random.default_rng(4)
    for _ in range(60):
        chances, minutes = rng.dirichlet(np.ones(6)), rng.uniform(2, 90, 6)
        best = min(cost(order, chances, minutes) for order in itertools.permutations(range(6)))
        assert cost(look_order(chances, minutes), chances, minutes) == pytest.approx(best)
        assert expected_minutes(chances, minutes) == pytest.approx(best)


def test_the_likeliest_first_costs_more_where_its_look_is_long():
    chances, minutes = np.array([0.5, 0.3, 0.2]), np.array([120.0, 5.0, 5.0])
    assert expected_minutes(chances, minutes) < cost((0, 1, 2), chances, minutes)


CHANCES, MINUTES = np.array([0.5, 0.5]), np.array([10.0, 20.0])
TELLING, SILENT = np.eye(2), np.full((2, 2), 0.5)


@pytest.mark.source("by hand", "a perfect check leaves one look: 15; a silent one all: 10 + 20 / 2")
def test_minutes_after_a_check():
    assert minutes_after(CHANCES, TELLING, MINUTES) == pytest.approx(15)
    assert minutes_after(CHANCES, SILENT, MINUTES) == pytest.approx(20)


@pytest.mark.parametrize(
    ("shares", "check", "look"), [(TELLING, 4.0, False), (TELLING, 6.0, True), (SILENT, 0.1, True)]
)
def test_a_check_is_done_only_where_it_saves_minutes(shares, check, look):
    assert better_to_look(CHANCES, MINUTES, shares=shares, check_minutes=check) is look


def test_the_best_check_tells_most_a_minute():
    assert best_check([0.9, 0.5, 0.25], [30.0, 5.0, 2.5]) == 1

"""The order of looks against a search of all orders."""

import itertools

import numpy as np
import pytest

from kb.diagnosis.access import work_of
from kb.diagnosis.chances import CauseChance
from kb.diagnosis.looks import chances_left, expected_minutes, look_order, minutes_after


def cost(order, chances, minutes, *, behind=(), opening=0.0):
    """Return the expected minutes of an order, counted step by step."""
    total, left, shut = 0.0, 1.0, True
    for at in order:
        step = minutes[at]
        if at in behind and shut:
            step, shut = step + opening, False
        total += step * left
        left -= chances[at]
    return total


def every_cost(chances, minutes, **access):
    orders = itertools.permutations(range(len(chances)))
    return {order: cost(order, chances, minutes, **access) for order in orders}


@pytest.mark.source("brute force", "all 720 orders of six causes, 60 random instances")
def test_chance_over_minutes_is_the_order_of_least_expected_minutes():
    rng = np.random.default_rng(4)
    for _ in range(60):
        chances, minutes = rng.dirichlet(np.ones(6)), rng.uniform(2, 90, 6)
        best = min(every_cost(chances, minutes).values())
        work = work_of(minutes)
        assert cost(look_order(chances, work), chances, minutes) == pytest.approx(best)
        assert expected_minutes(chances, work) == pytest.approx(best)


# Condenser fan, loose plug, overcharge, restricted condenser, compressor.
FIVE = np.array([0.40, 0.10, 0.25, 0.15, 0.10]), np.array([15.0, 5.0, 40.0, 30.0, 120.0])


@pytest.mark.source(
    "Heckerman, Breese & Rommelse 1995, p/C; brute force over 120 orders",
    "57.5, then 58.0; by chance 62.5, by cost 59.5, worst 185.5",
)
def test_the_five_causes_of_a_warm_vent():
    costs, order = every_cost(*FIVE), tuple(look_order(FIVE[0], work_of(FIVE[1])))
    ranked = sorted(costs.values())
    assert costs[order] == pytest.approx(57.5)
    assert (ranked[0], ranked[1], ranked[-1]) == pytest.approx((57.5, 58.0, 185.5))
    by_chance = tuple(np.lexsort((FIVE[1], -FIVE[0])))
    by_cost = tuple(np.argsort(FIVE[1]))
    assert (costs[by_chance], costs[by_cost]) == pytest.approx((62.5, 59.5))


@pytest.mark.source("brute force over 120 orders", "the last look left out: 45.5, same order")
def test_the_same_order_is_best_where_the_last_look_is_left_out():
    chances, minutes = FIVE
    skipped = {
        order: total - minutes[order[-1]] * chances[order[-1]]
        for order, total in every_cost(chances, minutes).items()
    }
    order = tuple(look_order(chances, work_of(minutes)))
    assert skipped[order] == pytest.approx(45.5)
    assert min(skipped.values()) == pytest.approx(45.5)


# A and D in the open, B and C behind a panel of 60 minutes.
PANEL = np.array([0.08, 0.36, 0.36, 0.20]), np.array([10.0, 5.0, 5.0, 25.0])


@pytest.mark.source("brute force over 24 orders", "A-D-B-C 81.6, best B-C-A-D 76.0")
def test_looks_behind_one_panel_are_compared_as_a_block():
    costs = every_cost(*PANEL, behind={1, 2}, opening=60.0)
    work = work_of(PANEL[1], ["", "panel", "panel", ""], {"panel": 60.0})
    order = tuple(look_order(PANEL[0], work))
    assert order == (1, 2, 0, 3)
    assert costs[order] == pytest.approx(76.0) == pytest.approx(min(costs.values()))
    assert expected_minutes(PANEL[0], work) == pytest.approx(76.0)
    each_alone = tuple(look_order(PANEL[0], work_of(work.alone)))
    assert each_alone == (0, 3, 1, 2)
    assert costs[each_alone] == pytest.approx(81.6)


def test_an_open_panel_leaves_plain_chance_over_minutes():
    work = work_of(PANEL[1], ["", "panel", "panel", ""], {"panel": 0.0})
    assert look_order(PANEL[0], work).tolist() == look_order(PANEL[0], work_of(PANEL[1])).tolist()


@pytest.mark.source(
    "brute force", "all 720 orders of six looks, three behind a panel, 60 instances"
)
def test_blocks_give_the_order_of_least_expected_minutes():
    rng = np.random.default_rng(8)
    for _ in range(60):
        chances, minutes = rng.dirichlet(np.ones(6)), rng.uniform(2, 90, 6)
        opening = float(rng.uniform(5, 120))
        best = min(every_cost(chances, minutes, behind={0, 2, 5}, opening=opening).values())
        access = ["p", "", "p", "", "", "p"]
        work = work_of(minutes, access, {"p": opening})
        assert expected_minutes(chances, work) == pytest.approx(best)


def test_two_panels_are_each_opened_once():
    work = work_of([5, 5, 5, 5], ["a", "b", "a", "b"], {"a": 30.0, "b": 30.0})
    order = look_order(np.array([0.3, 0.2, 0.3, 0.2]), work)
    assert order.tolist() == [0, 2, 1, 3]
    assert work.total(order).tolist() == [35, 5, 35, 5]


def test_the_likeliest_first_costs_more_where_its_look_is_long():
    chances, minutes = np.array([0.5, 0.3, 0.2]), np.array([120.0, 5.0, 5.0])
    assert expected_minutes(chances, work_of(minutes)) < cost((0, 1, 2), chances, minutes)


@pytest.mark.source("by hand", "a perfect check leaves one look: 15; a silent one all: 10 + 20 / 2")
def test_minutes_after_a_check():
    chances, work = np.array([0.5, 0.5]), work_of([10.0, 20.0])
    assert minutes_after(chances, np.eye(2), work) == pytest.approx(15)
    assert minutes_after(chances, np.full((2, 2), 0.5), work) == pytest.approx(20)


def test_what_was_looked_at_has_no_chance_left_and_something_else_none():
    rows = [CauseChance(cause=c, chance=p) for c, p in (("a", 0.5), (None, 0.2), ("b", 0.3))]
    assert chances_left(rows, ["b", "a", "c"]).tolist() == pytest.approx([0.375, 0.625, 0])
    assert chances_left(rows, ["b", "a", "c"], gone={"a"}).tolist() == [1, 0, 0]

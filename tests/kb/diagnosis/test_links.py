"""Trees of findings against the full table, summed here by enumeration."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb.diagnosis.links import TREES, Recorded, fit_trees, pair_gains
from kb.diagnosis.profiles import recorded_shares

# Four findings of an invented car, two causes. "b" and "c" repeat "a" but for a few, "d" is alone.
SIZES = np.array([2, 2, 3, 2])
CAUSES = np.array([0.6, 0.4])
A = np.array([[0.8, 0.2], [0.3, 0.7]])
D = np.array([[0.5, 0.5], [0.1, 0.9]])
B_OF_A = np.array([[0.95, 0.05], [0.1, 0.9]])
C_OF_A = np.array([[0.8, 0.1, 0.1], [0.1, 0.2, 0.7]])


def drawn(size, *, seed=0, shown=1.0):
    """Cases drawn from the network above, each value recorded with chance ``shown``."""
    rng = np.random.default_rng(seed)
    causes = rng.choice(2, size, p=CAUSES)
    a = np.array([rng.choice(2, p=A[c]) for c in causes])
    b = np.array([rng.choice(2, p=B_OF_A[v]) for v in a])
    c = np.array([rng.choice(3, p=C_OF_A[v]) for v in a])
    d = np.array([rng.choice(2, p=D[v]) for v in causes])
    codes = np.stack([a, b, c, d], axis=1)
    codes[rng.random(codes.shape) > shown] = -1
    return Recorded(codes=codes, sizes=SIZES, causes=causes, weights=np.ones(size), n_causes=2)


def exact(cause, seen):
    """P(seen | cause) by summing the full table over what was not seen."""
    total = 0.0
    for values in itertools.product(*(range(size) for size in SIZES)):
        if all(known in {-1, value} for known, value in zip(seen, values, strict=True)):
            a, b, c, d = values
            total += A[cause, a] * B_OF_A[a, b] * C_OF_A[a, c] * D[cause, d]
    return total


def apart(trees, seen):
    known = [field for field, value in enumerate(seen) if value >= 0]
    return np.prod([trees.shares[field, :, seen[field]] for field in known], axis=0)


SEEN = [(0, 0, -1, -1), (1, 0, 2, 1), (-1, 1, 2, -1), (-1, 0, -1, 1), (0, 1, 0, 0)]


@pytest.fixture(scope="module")
def trees():
    return fit_trees(drawn(20_000))


@pytest.mark.source("enumeration", "the full table of a small network, summed here")
@pytest.mark.parametrize("seen", SEEN, ids=str)
def test_linked_findings_have_the_chance_of_the_full_table(trees, seen):
    read = trees.read(np.array(seen))
    got = np.exp(read.together) * apart(trees, seen)
    assert got[:2] == pytest.approx([exact(cause, seen) for cause in range(2)], rel=0.12)


@pytest.mark.source("enumeration", "the full table of a small network, summed here")
@pytest.mark.parametrize("seen", [row for row in SEEN if -1 in row], ids=str)
def test_what_to_expect_is_that_of_the_full_table(trees, seen):
    shares = trees.read(np.array(seen)).shares
    for field in [at for at, value in enumerate(seen) if value < 0]:
        for cause, value in itertools.product(range(2), range(SIZES[field])):
            known = [*seen[:field], value, *seen[field + 1 :]]
            expected = exact(cause, known) / exact(cause, seen)
            assert shares[field, cause, value] == pytest.approx(expected, abs=0.03)


def by_hand(trees, tree, seen):
    """P(seen | cause) on one tree, summed over every completion, with its own tables."""
    fields = len(SIZES)
    first = tree * fields
    total = np.zeros(trees.shares.shape[1])
    for values in itertools.product(*(range(size) for size in SIZES)):
        if any(known not in {-1, value} for known, value in zip(seen, values, strict=True)):
            continue
        part = np.ones_like(total)
        for root in trees.roots[(trees.roots >= first) & (trees.roots < first + fields)]:
            part *= trees.shares[root - first, :, values[root - first]]
        for level in trees.levels:
            for node, above, link in zip(level.nodes, level.above, level.links, strict=True):
                if first <= node < first + fields:
                    part *= trees.tables[link, :, values[above - first], values[node - first]]
        total += part
    return total


@pytest.mark.source("enumeration", "every completion of every tree, summed here")
@settings(max_examples=25, deadline=None)
@given(st.tuples(*(st.integers(-1, int(size) - 1) for size in SIZES)), st.integers(0, 50))
def test_messages_give_what_summing_over_all_completions_gives(seen, seed):
    trees = fit_trees(drawn(60, seed=seed, shown=0.7))
    each = [np.log(by_hand(trees, tree, seen)) for tree in range(trees.n_trees)]
    expected = np.mean(each, axis=0) - np.log(apart(trees, seen))
    read = trees.read(np.array(seen))
    assert read.together == pytest.approx(expected, abs=1e-9)
    assert read.shares.sum(axis=2) == pytest.approx(1)
    for field, value in enumerate(seen):
        if value >= 0:
            assert read.shares[field, :, value] == pytest.approx(1)


def test_nothing_seen_says_nothing_and_leaves_a_root_as_it_was(trees):
    read = trees.read(np.full(len(SIZES), -1))
    assert read.together == pytest.approx(0)
    assert read.shares[3] == pytest.approx(trees.shares[3], abs=0.01)


def test_findings_that_repeat_each_other_are_linked_and_one_alone_is_not(trees):
    recorded = drawn(20_000)
    _, gains = pair_gains(recorded, trees.shares)
    assert min(gains[0, 1], gains[0, 2]) > 1000
    assert gains[3, :3].max() < 10
    assert gains == pytest.approx(gains.T)


@pytest.mark.source("by hand", "n ln((n + k e) / (m + k e)) over the four pairs of two fields")
def test_the_gain_of_a_pair_is_what_the_causes_leave_unexplained():
    codes = np.array([[0, 0]] * 6 + [[1, 1]] * 4)
    recorded = Recorded(
        codes=codes,
        sizes=np.array([2, 2]),
        causes=np.zeros(10, np.int64),
        weights=np.ones(10),
        n_causes=1,
    )
    counts = np.array([[6.0, 4.0]])
    own, overall = recorded_shares(counts)
    shares = np.stack([np.concatenate([own, overall[None]])] * 2)
    links, gains = pair_gains(recorded, shares)
    p = own[0, 0]
    expected = {(0, 0): 10 * p * p, (1, 1): 10 * (1 - p) ** 2}
    total = 0.0
    for (u, v), n in {(0, 0): 6, (1, 1): 4}.items():
        link = (n + expected[u, v]) / (2 * expected[u, v])
        assert links[u, 2 + v] == pytest.approx(link)
        total += n * np.log(link)
    assert gains[0, 1] == pytest.approx(total)


def test_a_case_that_counts_nothing_changes_nothing():
    recorded = drawn(200, shown=0.6)
    more = Recorded(
        codes=np.concatenate([recorded.codes, [[1, 0, 2, 0]]]),
        sizes=SIZES,
        causes=np.append(recorded.causes, 0),
        weights=np.append(recorded.weights, 0.0),
        n_causes=2,
    )
    seen = np.array([1, -1, 2, 0])
    there, here = fit_trees(more).read(seen), fit_trees(recorded).read(seen)
    assert there.together == pytest.approx(here.together)
    assert there.shares == pytest.approx(here.shares)


def test_the_order_of_cases_changes_nothing():
    recorded = drawn(200, shown=0.6)
    turned = Recorded(
        codes=recorded.codes[::-1],
        sizes=SIZES,
        causes=recorded.causes[::-1],
        weights=recorded.weights,
        n_causes=2,
    )
    seen = np.array([1, -1, 2, 0])
    assert fit_trees(turned).read(seen).together == pytest.approx(
        fit_trees(recorded).read(seen).together
    )


@pytest.mark.parametrize("seen", [[1, -1, 2, 0], [-1, -1, -1, 0], [0, 1, 1, 1]])
def test_what_is_said_together_is_the_same_read_alone(seen):
    trees = fit_trees(drawn(200, shown=0.6))
    assert trees.together(np.array(seen)).tobytes() == trees.read(np.array(seen)).together.tobytes()


def test_without_a_case_no_finding_is_linked():
    recorded = Recorded(
        codes=np.zeros((0, 4), np.int64),
        sizes=SIZES,
        causes=np.zeros(0, np.int64),
        weights=np.zeros(0),
        n_causes=2,
    )
    trees = fit_trees(recorded)
    assert trees.levels == ()
    assert len(trees.roots) == TREES * len(SIZES)
    assert trees.read(np.array([0, 1, 2, 0])).together == pytest.approx(0)

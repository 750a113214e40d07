import numpy as np
import pytest

from kb.diagnosis.access import work_of
from kb.diagnosis.blocks import MOST_TOGETHER, Block, better_to_look, blocks_by_worth
from kb.diagnosis.information import entropy_bits, information_gain

# Rough idle and lean: gasket, breather, purge, EGR, booster. A check says yes with the first share
# under the causes named, with the last under the others.
IDLE = np.array([0.35, 0.25, 0.20, 0.10, 0.10])
HITS = {
    "block purge": (2, 0.218, 0.562, 0.281, {2: 0.97}, 0.03),
    "block breather": (3, 0.260, 0.609, 0.203, {1: 0.95}, 0.03),
    "block booster": (2, 0.122, 0.331, 0.166, {4: 0.95}, 0.03),
    "command EGR": (5, 0.135, 0.266, 0.053, {3: 0.90}, 0.05),
    "smoke the intake": (25, 0.473, 0.427, 0.017, {0: 0.85, 3: 0.70, 4: 0.70}, 0.08),
}


def yes_no(hits, false):
    yes = np.array([hits.get(at, false) for at in range(5)])
    return np.stack([yes, 1 - yes], axis=1)


TABLES = {name: yes_no(*row[4:]) for name, row in HITS.items()}


@pytest.mark.source(
    "worked table of information per minute",
    "P(yes), gain, bit/min of five checks; the hits were found from P(yes) and gain",
)
@pytest.mark.parametrize("name", HITS)
def test_information_a_minute_of_five_checks(name):
    minutes, yes, gain, rate = HITS[name][:4]
    assert float(IDLE @ TABLES[name][:, 0]) == pytest.approx(yes, abs=6e-4)
    assert information_gain(IDLE, TABLES[name]) == pytest.approx(gain, abs=6e-4)
    (block,) = blocks_by_worth(IDLE, [TABLES[name]], work_of([minutes]))
    assert block.worth == pytest.approx(rate, abs=6e-4)


@pytest.mark.source("worked table of information per minute", "2.159 bit; .25 to .913 by a yes")
def test_the_quick_isolating_checks_come_first():
    assert float(entropy_bits(IDLE)) == pytest.approx(2.159, abs=5e-4)
    yes = IDLE * TABLES["block breather"][:, 0]
    assert yes[1] / yes.sum() == pytest.approx(0.913, abs=5e-4)
    work = work_of([row[0] for row in HITS.values()])
    found = blocks_by_worth(IDLE, list(TABLES.values()), work)
    order = [list(HITS)[block.checks[0]] for block in found]
    assert order == [
        "block purge", "block breather", "block booster", "command EGR", "smoke the intake",
    ]  # fmt: skip


# Eight causes as likely as each other; a check of a bit tells one half of them from the other.
EIGHT = np.full(8, 1 / 8)
HALVES = [np.eye(2)[[at >> bit & 1 for at in range(8)]] for bit in range(3)]


def test_two_checks_behind_a_panel_beat_one_in_the_open():
    # In the open 1 bit in 40 minutes; behind a panel of 50 each 1 bit in 5, so 2 bits in 60.
    work = work_of([40, 5, 5], ["", "panel", "panel"], {"panel": 50.0})
    first, second = blocks_by_worth(EIGHT, HALVES, work)
    assert first.checks == (1, 2)
    assert (first.bits, first.minutes) == pytest.approx((2, 60))
    assert second.checks == (0,)
    assert blocks_by_worth(EIGHT, HALVES[:2], work_of([40, 55]))[0].checks == (0,)


def test_a_check_that_repeats_another_does_not_join_its_block():
    work = work_of([5, 5], ["panel", "panel"], {"panel": 50.0})
    found = blocks_by_worth(EIGHT, [HALVES[0], HALVES[0]], work)
    assert [block.checks for block in found] == [(0,), (1,)]


def test_an_open_panel_makes_no_block_and_every_check_stays_in_one_block():
    shut = work_of([5] * 5, ["panel"] * 5, {"panel": 50.0})
    tables = [*HALVES, HALVES[0], HALVES[1]]
    for work in (shut, shut.open(0)):
        found = blocks_by_worth(EIGHT, tables, work)
        assert sorted(at for block in found for at in block.checks) == [0, 1, 2, 3, 4]
        worths = [block.worth for block in found]
        assert worths == sorted(worths, reverse=True)
    assert max(len(block.checks) for block in blocks_by_worth(EIGHT, tables, shut.open(0))) == 1
    assert len(blocks_by_worth(EIGHT, tables, shut)[0].checks) == MOST_TOGETHER


CHANCES, LOOKS = np.array([0.5, 0.5]), work_of([10.0, 20.0])


def block(shares, minutes):
    return Block(
        checks=(0,), bits=information_gain(CHANCES, shares), minutes=minutes, shares=shares
    )


@pytest.mark.source("by hand", "looking at once 20 minutes, after a perfect check 15")
@pytest.mark.parametrize(
    ("shares", "minutes", "look"),
    [(np.eye(2), 4.0, False), (np.eye(2), 6.0, True), (np.full((2, 2), 0.5), 0.1, True)],
)
def test_a_check_is_done_only_where_it_saves_minutes(shares, minutes, look):
    checks = work_of([minutes])
    assert better_to_look(CHANCES, block(shares, minutes), checks=checks, looks=LOOKS) is look


def test_what_a_check_opens_is_open_for_the_looks_after_it():
    opening = {"panel": 30.0}
    looks = work_of([10.0, 20.0], ["panel", "panel"], opening)
    inside, outside = work_of([4.0], ["panel"], opening), work_of([34.0], [""], opening)
    done = block(np.eye(2), 34.0)
    assert not better_to_look(CHANCES, done, checks=inside, looks=looks)
    assert better_to_look(CHANCES, done, checks=outside, looks=looks)

import json
import random
from statistics import fmean
from typing import Any

import pytest

from kb.errors import ImportTableError
from kb.retrieval.features import CaseFeatures, observed_token
from kb.workflow.open_records import Start
from kb.workflow.structured import fit_records
from kb.workflow.technician import (
    CHECK_MINUTES,
    LOOK_MINUTES,
    OPENINGS,
    OURS,
    POLICIES,
    Technician,
    invented_prices,
    measure_minutes,
)

# Eight causes; t0 to t2 tell them apart, a bit each, nine times in ten; n0 to n5 tell nothing.
CAUSES = [f"c{number}" for number in range(8)]
TELLING = [f"t{bit}" for bit in range(3)]
NOISE = [f"n{number}" for number in range(6)]


def findings(cause, rng):
    number = CAUSES.index(cause) if cause in CAUSES else 0
    bits = [number >> bit & 1 for bit in range(3)]
    told = [bit if rng.random() < 0.9 else 1 - bit for bit in bits]
    seen = {name: "yes" if bit else "no" for name, bit in zip(TELLING, told, strict=True)}
    return seen | {name: rng.choice(["yes", "no"]) for name in NOISE}


def case_of(name, cause, seen):
    tokens = tuple(observed_token(key, value) for key, value in seen.items())
    return CaseFeatures(case=name, cause=cause, tokens=tokens)


@pytest.fixture(scope="module")
def tech():
    rng = random.Random(3)
    rows = [(f"s{at:03}", CAUSES[at % 8]) for at in range(160)]
    fitted = fit_records([case_of(name, cause, findings(cause, rng)) for name, cause in rows])
    return Technician(fitted, [*TELLING, *NOISE, "never recorded"])


@pytest.fixture(scope="module")
def starts():
    rng = random.Random(4)
    return [
        Start(asked=CaseFeatures(case=f"q{at}"), cause=CAUSES[at % 8], truth=seen)
        for at in range(24)
        for seen in [findings(CAUSES[at % 8], rng)]
    ]


def test_invented_minutes_are_the_same_each_time_and_within_their_limits():
    names = [f"check {number}" for number in range(300)]
    prices = invented_prices(names, CAUSES)
    assert prices == invented_prices(names, CAUSES)
    assert invented_prices(reversed(names), CAUSES).checks == prices.checks
    assert all(CHECK_MINUTES[0] <= row <= CHECK_MINUTES[1] for row in prices.checks.values())
    assert all(LOOK_MINUTES[0] <= row <= LOOK_MINUTES[1] for row in prices.looks)
    assert set(prices.access.values()) == {"", *OPENINGS}
    behind = sum(1 for access in prices.access.values() if access)
    assert 0.23 < behind / len(names) < 0.43


def test_a_check_that_the_memory_never_saw_is_not_offered(tech):
    assert set(tech.tables.at) == {*TELLING, *NOISE}


def test_the_fixed_order_has_every_check_once_and_telling_ones_before_noise_of_equal_cost(tech):
    assert sorted(tech.order) == sorted([*TELLING, *NOISE])
    prices = tech.prices
    cost = {n: prices.checks[n] + OPENINGS.get(prices.access[n], 0.0) for n in tech.order}
    place = {name: at for at, name in enumerate(tech.order)}
    pairs = [(t, n) for t in TELLING for n in NOISE if cost[t] <= cost[n]]
    assert pairs
    assert all(place[t] < place[n] for t, n in pairs)


def test_looks_only_costs_the_looks_until_the_cause_is_seen(tech, starts):
    for start in starts[:4]:
        took = tech.minutes(POLICIES["looks_only"], start)
        true = tech.prices.looks[tech.causes.index(start.cause)]
        assert took.minutes >= true
        assert (took.wrong_looks == 0) == (took.minutes == pytest.approx(true))


@pytest.mark.parametrize("name", POLICIES)
def test_every_policy_ends_at_the_cause_and_takes_the_same_each_time(tech, starts, name):
    took = tech.minutes(POLICIES[name], starts[0])
    assert took == tech.minutes(POLICIES[name], starts[0])
    every = sum(tech.prices.looks) + sum(tech.prices.checks.values()) + sum(OPENINGS.values())
    assert LOOK_MINUTES[0] <= took.minutes <= every
    assert 0 <= took.wrong_looks < len(CAUSES)


def test_what_is_done_first_is_paid_with_its_opening_and_then_never_again(tech):
    """Do every check by a policy of our own, then look in order."""
    seen = dict.fromkeys([*TELLING, *NOISE], "yes")
    start = Start(asked=CaseFeatures(case="q"), cause="c7", truth=seen)
    asked = []

    def next_name(now):
        asked.append(now.names[-1])
        return now.names[-1]

    took = tech.minutes(next_name, start)
    assert len(asked) == len(set(asked)) > 0
    prices, access = tech.prices, {tech.prices.access[name] for name in asked} - {""}
    checks = sum(prices.checks[n] for n in asked) + sum(OPENINGS[name] for name in access)
    looks = took.minutes - checks
    true = prices.looks[tech.causes.index("c7")]
    assert looks >= true - 1e-9
    assert (took.wrong_looks == 0) == (looks == pytest.approx(true))


def test_asking_what_tells_takes_fewer_minutes_than_asking_anything(tech, starts):
    mean = {
        name: fmean(tech.minutes(policy, start).minutes for start in starts)
        for name, policy in POLICIES.items()
    }
    # Without the stop every check gets done here, whatever its order: a tie with "random".
    assert mean[OURS] < min(mean["gain_a_minute"], mean["random"])
    assert mean[OURS] < mean["looks_only"]
    assert mean[OURS] < mean["cheapest_first"]


@pytest.fixture
def folder(tmp_path):
    rng = random.Random(6)
    stored = [
        {"id": f"s{at:02}", "cause": CAUSES[at % 8], "findings": findings(CAUSES[at % 8], rng)}
        for at in range(64)
    ]
    asked = [
        {"id": f"q{at}", "cause": cause, "findings": findings(cause, rng) if at else {"t0": "no"}}
        for at, cause in enumerate(["c0", "c1", "c2", "never stored", "c3", "c4"])
    ]
    for name, rows in (("stored_cases", stored), ("queries", asked)):
        (tmp_path / f"{name}.jsonl").write_text("\n".join(map(json.dumps, rows)))
    return tmp_path


def test_minutes_are_measured_by_policy_with_ours_against_the_others(folder):
    found: dict[str, Any] = measure_minutes(folder, jobs=3)
    assert (found["stored"], found["jobs"]) == (64, 3)
    assert 5 <= found["checks_a_job"] <= 7
    assert set(found["minutes"]) == set(POLICIES)
    assert set(found["ours_against"]) == set(POLICIES) - {OURS}
    mean = {name: row["mean"] for name, row in found["minutes"].items()}
    for name, row in found["ours_against"].items():
        assert row["ratio"] == pytest.approx(mean[OURS] / mean[name])
        assert row["error"] >= 0


def test_jobs_of_a_cause_never_stored_or_without_a_check_to_do_are_left_out(folder):
    assert measure_minutes(folder)["jobs"] == 4
    assert measure_minutes(folder, stored=16)["stored"] == 16


def test_a_folder_that_leaves_no_check_says_so(folder):
    (folder / "queries.jsonl").write_text('{"id": "q", "cause": "c0", "findings": {"t0": "no"}}')
    with pytest.raises(ImportTableError, match="more than 2 entries"):
        measure_minutes(folder)

"""Chances and gains against exact inference in published networks, and the inference itself."""

import itertools
import json
import os
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from kb.diagnosis.calibration import Calibration
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.findings import next_findings
from kb.diagnosis.information import information_gain
from kb.retrieval.features import OBSERVED, CaseFeatures, observed_token
from kb.retrieval.index import CaseIndex
from kb.workflow.records import bare_words
from tests.kb.diagnosis.networks import (
    CAUSE,
    chances_and_shares,
    draws,
    joint_by_enumeration,
    joint_with,
    network_folder,
    read_network,
    with_one_cause,
)

# --- the inference -------------------------------------------------------------------------------


@cache
def network(name):
    return read_network(network_folder() / f"{name}.bif.gz")


def chance(name, node, state, **seen):
    net = network(name)
    joint = joint_with(net, (node,), seen)
    return joint[net.states[node].index(state)] / joint.sum()


@pytest.mark.source("Lauritzen & Spiegelhalter (1988)", "the chest clinic, marginals, from memory")
@pytest.mark.parametrize(
    ("node", "expected"),
    [
        ("tub", 0.0104),
        ("lung", 0.055),
        ("bronc", 0.45),
        ("either", 0.0648),
        ("xray", 0.1103),
        ("dysp", 0.4360),
    ],
)
def test_the_chest_clinic_has_its_published_marginals(node, expected):
    assert chance("asia", node, "yes") == pytest.approx(expected, abs=6e-5)


@pytest.mark.source("Højsgaard (2012), gRain", "chest clinic, asia and dysp yes, from memory")
@pytest.mark.parametrize(
    ("node", "expected"), [("tub", 0.0877510), ("lung", 0.0995252), ("bronc", 0.8114021)]
)
def test_the_chest_clinic_has_its_published_chances_after_two_findings(node, expected):
    assert chance("asia", node, "yes", asia="yes", dysp="yes") == pytest.approx(expected, abs=6e-8)


ASIA_SEEN = [{}, {"dysp": "yes"}, {"xray": "no", "asia": "yes"}, {"smoke": "no", "either": "yes"}]


def enumerated(net, kept, seen):
    nodes, table = joint_by_enumeration(net)
    place = tuple(net.states[n].index(seen[n]) if n in seen else slice(None) for n in nodes)
    left = [n for n in nodes if n not in seen]
    summed = table[place].sum(axis=tuple(at for at, n in enumerate(left) if n not in kept))
    order = [[n for n in left if n in kept].index(n) for n in kept]
    return summed.transpose(order)


@pytest.mark.source("enumeration", "the full table of a published network, summed here")
@pytest.mark.parametrize("seen", ASIA_SEEN, ids=str)
def test_elimination_equals_enumeration(seen):
    net = network("asia")
    for kept in itertools.permutations([n for n in net.states if n not in seen], 2):
        assert joint_with(net, kept, seen) == pytest.approx(enumerated(net, kept, seen), abs=1e-12)


def mutual_information(joint):
    """Sum of p(c, v) log2 p(c, v) / p(c) p(v) over the cells that are possible."""
    joint = joint / joint.sum()
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    possible = joint > 0
    return float((joint[possible] * np.log2(joint[possible] / apart[possible])).sum())


@pytest.mark.source("enumeration", "mutual information in the full table, summed here")
@pytest.mark.parametrize(
    ("name", "cause"), [("asia", "lung"), ("asia", "bronc"), ("cancer", "Cancer")]
)
def test_the_information_of_a_finding_equals_the_enumerated_mutual_information(name, cause):
    full = network(name)
    net = with_one_cause(full, [f"{cause}={state}" for state in full.states[cause]])
    others = [node for node in full.states if node != cause]
    seen_before = [{}, *({node: full.states[node][0]} for node in others)]
    tried = 0
    for seen in seen_before:
        for node in set(others) - set(seen):
            chances, shares = chances_and_shares(net, node, seen)
            exact = mutual_information(enumerated(full, (cause, node), seen))
            assert information_gain(chances, shares) == pytest.approx(exact, abs=1e-9)
            tried += 1
    assert tried == len(others) ** 2


# --- ours against it -----------------------------------------------------------------------------

# The findings of the network 'child' that hang on the disease alone, so that they are independent
# given the cause, as a profile takes them to be.
ALONE = ("LVH", "DuctFlow", "CardiacMixing", "LungParench", "LungFlow", "Sick")
DRAWN, ASKED = 8000, 200
PLAIN = Calibration(temper=1.0, vote=0.0, least_other=0.0, other=-50.0)


def child():
    net = network("child")
    return with_one_cause(net, [f"Disease={state}" for state in net.states["Disease"]])


def record(name, cause, seen):
    tokens = tuple(observed_token(node, state) for node, state in seen.items())
    return CaseFeatures(case=name, cause=cause, tokens=tokens)


def alone(row, count=None):
    return {node: row[node] for node in ALONE[:count]}


def learned(count):
    rows = itertools.islice(draws(child(), DRAWN, seed=7), count)
    cases = [record(f"C{i:05}", row[CAUSE], alone(row)) for i, row in enumerate(rows)]
    return CauseModel(bare_words(), calibration=PLAIN).fit(cases, CaseIndex().fit(cases))


@pytest.fixture(scope="module")
def fitted():
    return learned(DRAWN)


@pytest.fixture(scope="module")
def asked():
    rows = draws(child(), ASKED, seed=8)
    return [alone(row, i % len(ALONE)) for i, row in enumerate(rows)]


def test_the_findings_taken_hang_on_the_disease_alone():
    assert all(child().factors[node].nodes == (CAUSE, node) for node in ALONE)


def distances(model, asked):
    """How far each chance is from the exact one."""
    net, far = child(), []
    for seen in asked:
        exact = joint_with(net, (CAUSE,), seen)
        found = model.chances(model.index.ask(record("Q", None, seen)))
        got = {row.cause: row.chance for row in found}
        rows = zip(net.states[CAUSE], exact / exact.sum(), strict=True)
        far += [abs(got[cause] - share) for cause, share in rows]
    return far


# A share of a tenth among 400 cases of a cause has a standard error of .15 of itself; five such
# findings move a chance of a half by .08 (one standard error). Most cases are surer than that.
@pytest.mark.source("exact inference", "network 'child' of pgmpy 1.1.2, after 0 to 5 findings")
def test_chances_learned_from_drawn_cases_are_those_of_the_network(fitted, asked):
    far = distances(fitted, asked)
    assert max(far) < 0.08
    assert np.mean(far) < 0.006


@pytest.mark.source("law of large numbers", "16 times the cases, a quarter of the error")
def test_more_cases_bring_chances_nearer_to_the_exact_ones(fitted, asked):
    assert np.mean(distances(learned(DRAWN // 16), asked)) > 2 * np.mean(distances(fitted, asked))


@pytest.mark.source("exact inference", "network 'child' of pgmpy 1.1.2, after 0 to 5 findings")
def test_gains_learned_from_drawn_cases_are_those_of_the_network(fitted, asked):
    net, far, lost = child(), [], []
    for seen in asked:
        query = fitted.index.ask(record("Q", None, seen))
        found = next_findings(fitted, query, fitted.chances(query), top=len(ALONE))
        exact = {
            OBSERVED + node: information_gain(*chances_and_shares(net, node, seen))
            for node in ALONE
            if node not in seen
        }
        assert {row.field for row in found} == exact.keys()
        far += [abs(row.bits - exact[row.field]) for row in found]
        lost.append(max(exact.values()) - exact[found[0].field])
    assert max(far) < 0.07
    assert np.mean(far) < 0.015
    assert np.mean(lost) < 0.001


# --- the published questions ---------------------------------------------------------------------

# Published figures are rounded to six digits, and chances below a ten-thousandth left out.
ROUNDING, LEFT_OUT = 6e-7, 1.01e-4
MOST_POSTERIORS, MOST_GAINS = 300, 25


def questions(name):
    """The questions of a network, and the network with its causes on top."""
    folder = os.environ.get("BAYBOOK_DATA")
    if not folder:
        pytest.skip("BAYBOOK_DATA does not name the folder of the judged questions")
    path = Path(folder) / f"bn_{name}"
    net = with_one_cause(network(name), json.loads((path / "coding.json").read_text())["causes"])
    rows = [json.loads(line) for line in (path / "queries.jsonl").read_text().splitlines()]
    return net, rows


PUBLISHED = ["child", "alarm", "win95pts"]


@pytest.mark.slow
@pytest.mark.source("bn_*/queries.jsonl", "posterior")
@pytest.mark.parametrize("name", PUBLISHED)
def test_published_chances_are_those_of_exact_inference(name):
    net, rows = questions(name)
    for row in rows[:MOST_POSTERIORS]:
        exact = joint_with(net, (CAUSE,), row["seen"])
        for cause, share in zip(net.states[CAUSE], exact / exact.sum(), strict=True):
            published = row["posterior"].get(cause)
            if published is None:
                assert share < LEFT_OUT
            else:
                assert published == pytest.approx(share, abs=ROUNDING)


@pytest.mark.slow
@pytest.mark.source("bn_*/queries.jsonl", "gain_bits")
@pytest.mark.parametrize("name", PUBLISHED)
def test_published_gains_are_our_information_of_the_exact_tables(name):
    net, rows = questions(name)
    known = [row for row in rows if row.get("gain_bits")][:MOST_GAINS]
    assert known
    for row in known:
        for node, bits in row["gain_bits"].items():
            exact = information_gain(*chances_and_shares(net, node, row["seen"]))
            assert bits == pytest.approx(exact, abs=ROUNDING)

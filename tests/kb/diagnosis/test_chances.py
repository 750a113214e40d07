import numpy as np
import pytest

from kb.diagnosis.calibration import Calibration
from kb.diagnosis.chances import (
    NEIGHBOURS,
    Entry,
    Evidence,
    chances_of,
    log_vote,
    part_name,
    summed,
    weighted,
)
from kb.diagnosis.novelty import SIGNS
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex

EVIDENCE = Evidence(
    names=("text", "reading low"),
    parts=np.array([[1.0, -0.5, 0.0], [2.0, 0.5, -1.0]]),
    prior=np.log([0.5, 0.3, 0.2]),
    vote=np.log([0.9, 0.05, 0.05]),
    odd=np.array([1.0, 2.0, 1.0, 2.0]),
)


@pytest.mark.source("by hand", "softmax of beta (ln prior + parts) + v ln V with beta ln .1 beside")
def test_the_shipped_formula():
    made = Calibration(temper=0.7, vote=0.3, least_other=0.0)
    logits = 0.7 * (EVIDENCE.prior + EVIDENCE.parts.sum(axis=0)) + 0.3 * EVIDENCE.vote
    full = np.exp(np.append(logits, 0.7 * np.log(0.1)))
    assert chances_of(EVIDENCE, made) == pytest.approx(full / full.sum())


@pytest.mark.parametrize("novelty", [(), (0.1,) * len(SIGNS)])
def test_chances_sum_to_1_and_something_else_keeps_its_least(novelty):
    made = Calibration(novelty=novelty, other=-50.0, least_other=0.05)
    got = chances_of(EVIDENCE, made)
    assert got.sum() == pytest.approx(1)
    assert got[-1] >= 0.05


def test_a_weight_of_its_own_multiplies_its_part_only():
    parts, level = weighted(EVIDENCE, Calibration(weights={"text": 0.0, "prior": 1.0}, vote=0.0))
    assert parts[0] == pytest.approx(0)
    assert parts[1] == pytest.approx(0.7 * EVIDENCE.parts[1])
    assert level == pytest.approx(EVIDENCE.prior)


def asked(texts):
    cases = [CaseFeatures(case=f"C{i:02}", said=text) for i, text in enumerate(texts)]
    return CaseIndex().fit(cases).ask(CaseFeatures(case="Q", said="hums"))


def test_cases_without_a_cause_take_no_place_in_the_vote():
    many = 5 * (NEIGHBOURS + 1)
    causes = np.array([-1] * many + [0, 1, 1], np.int64)
    vote = np.exp(log_vote(asked(["hums"] * many + ["hums once"] * 3), causes, 2))
    assert vote == pytest.approx([1 / 3, 2 / 3], abs=1e-4)


def test_the_vote_is_the_share_of_the_best_cases():
    vote = np.exp(log_vote(asked(["hums"] * 3 + [""]), np.array([0, 0, 1, 2]), 3))
    assert vote[:2] == pytest.approx([2 / 3, 1 / 3], abs=1e-4)
    assert vote[2] < 1e-4


def test_no_more_than_the_best_cases_vote():
    vote = np.exp(log_vote(asked(["hums"] * (NEIGHBOURS + 5)), np.arange(NEIGHBOURS + 5), 20))
    assert (vote > 1e-3).sum() == NEIGHBOURS


def test_without_a_case_nobody_votes():
    assert log_vote(asked(["hums"]), np.array([-1]), 2).tolist() == [0, 0]


def test_entries_of_one_part_are_added_up_and_a_symptom_is_a_part_of_its_own():
    def token(part, field):
        return Token(part=part, field=field, value="yes", what=field)

    names = [
        part_name(token(*row)) for row in (("symptom", "a|"), ("symptom", "b|"), ("code", "c"))
    ]
    assert names == ["symptom a|", "symptom b|", "code"]
    rows = [Entry("code", None, np.array([1.0, 2.0])), Entry("text", None, np.array([5.0, 5.0]))]
    found = summed([*rows, Entry("code", None, np.array([0.5, -3.0]))])
    assert list(found) == ["code", "text"]
    assert found["code"].tolist() == [1.5, -1.0]
    assert rows[0].nats.tolist() == [1.0, 2.0]

import numpy as np
import pytest

from kb.case.terms import load_vocabulary
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.checks import (
    MOST_CAUTIONS,
    cautions_for,
    entropy_bits,
    information_gain,
    next_checks,
)
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex

WORDS = load_vocabulary()
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


def asked(*symptoms, findings=()):
    tokens = [Token(part="symptom", field=f"{key}|", value="yes", what=key) for key in symptoms]
    tokens += [Token(part="finding", field=f"{c}|", value=o, what=c) for c, o in findings]
    return CaseFeatures(case="Q", tokens=tuple(tokens))


def advice(query, **known):
    model = CauseModel(WORDS).fit([], CaseIndex().fit([]))
    chances = model.chances(CaseIndex().fit([]).ask(query))
    return next_checks(model, chances, **known)


def test_a_check_already_done_is_never_asked_again():
    query = asked("ac_cold_on_road_warm_in_traffic")
    first = advice(query)[0]
    again = advice(query, done=[(first.check, first.subject or "")])
    assert all((row.check, row.subject) != (first.check, first.subject) for row in again)


def test_checks_come_by_information_for_each_minute_with_actions_first_among_equals():
    rows = advice(asked("ac_cold_on_road_warm_in_traffic"))
    worth = [
        row.bits_per_minute * (1.1 if WORDS.checks[row.check].is_action else 1) for row in rows
    ]
    assert worth == sorted(worth, reverse=True)
    assert all(row.bits > 0 and row.minutes > 0 for row in rows)


def test_an_access_that_is_open_costs_nothing_more():
    model = CauseModel(WORDS).fit([], CaseIndex().fit([]))
    chances = model.chances(CaseIndex().fit([]).ask(asked("water_on_floor_passenger")))
    shut = {(r.check, r.subject): r.minutes for r in next_checks(model, chances, top=50)}
    opened = next_checks(model, chances, top=50, opened=["trim", "lift", "hood", "interior"])
    for row in opened:
        key = (row.check, row.subject)
        assert row.minutes <= shut.get(key, row.minutes)


def test_stop_cautions_come_first_and_at_most_five():
    check = WORDS.checks["recover_and_weigh"]
    rows = cautions_for(WORDS, check, causes=["low_charge_leak_hose"], systems=["hvac"])
    levels = [row.level for row in rows]
    assert 0 < len(rows) <= MOST_CAUTIONS
    assert levels == sorted(levels, key=["stop", "care", "note"].index)
    assert "refrigerant_no_vent" in {row.key for row in rows}

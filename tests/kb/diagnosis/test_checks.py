import numpy as np
import pytest

from kb.case.terms import load_vocabulary
from kb.diagnosis.access import access_of, opening_minutes, work_of
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.chances import CauseChance
from kb.diagnosis.checks import LEAST_BITS, MOST_CAUTIONS, cautions_for, next_steps
from kb.diagnosis.looks import expected_minutes, look_order
from kb.diagnosis.proving import proving_look
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex

WORDS = load_vocabulary()
MODEL = CauseModel(WORDS).fit([], CaseIndex().fit([]))


def asked(*symptoms, findings=()):
    tokens = [Token(part="symptom", field=f"{key}|", value="yes", what=key) for key in symptoms]
    tokens += [Token(part="finding", field=f"{c}|", value=o, what=c) for c, o in findings]
    return CaseFeatures(case="Q", tokens=tuple(tokens))


def advice(query, **known):
    return next_steps(MODEL, MODEL.chances(CaseIndex().fit([]).ask(query)), **known)


WARM = asked("ac_cold_on_road_warm_in_traffic")
WET = asked("water_on_floor_passenger")


def test_a_check_already_done_is_never_asked_again():
    first = advice(WARM).checks[0]
    again = advice(WARM, done=[(first.check, first.subject or "")]).checks
    assert all((row.check, row.subject) != (first.check, first.subject) for row in again)


def test_checks_in_the_open_come_by_information_a_minute_with_actions_first_among_equals():
    rows = [row for row in advice(WARM, top=50).checks if not row.beside]
    worth = [
        row.bits_per_minute * (1.1 if WORDS.checks[row.check].is_action else 1) for row in rows
    ]
    assert worth == sorted(worth, reverse=True)
    assert len(rows) > 1
    assert all(row.bits >= LEAST_BITS and row.minutes > 0 for row in rows)


def test_checks_behind_one_access_name_each_other_and_pay_its_opening():
    rows = {(row.check, row.subject): row for row in advice(WET, top=50).checks}
    shared = [row for row in rows.values() if row.beside]
    assert shared
    for row in shared:
        access = access_of(WORDS.checks[row.check])
        assert row.opening == opening_minutes([access])[access]
        assert row.minutes == WORDS.checks[row.check].typical_minutes + row.opening
        assert {access_of(WORDS.checks[check]) for check, _ in row.beside} == {access}
        assert all((row.check, row.subject) in rows[pair].beside for pair in row.beside)


def test_an_access_that_is_open_costs_nothing_more():
    every = {access_of(row) for row in WORDS.checks.values()}
    shut, opened = advice(WET, top=50).checks, advice(WET, top=50, opened=every).checks
    assert {(r.check, r.subject) for r in shut} == {(r.check, r.subject) for r in opened}
    assert all(row.minutes == WORDS.checks[row.check].typical_minutes for row in opened)
    assert not any(row.beside for row in opened)


def chances(**named):
    other = 1 - sum(named.values())
    rows = [CauseChance(cause=cause, chance=share) for cause, share in named.items()]
    rows.append(CauseChance(cause=None, chance=other))
    return sorted(rows, key=lambda row: -row.chance)


def test_a_cause_that_is_all_but_sure_is_gone_and_looked_at():
    steps = next_steps(MODEL, chances(condenser_fan_dead=0.93, overcharge=0.02))
    assert steps.look is not None
    assert steps.look.look == proving_look(WORDS, "condenser_fan_dead")
    assert steps.look.minutes <= steps.look.expected


def test_a_check_that_tells_likely_causes_apart_is_done_before_any_look():
    alike = ["compressor_worn", *WORDS.causes["compressor_worn"].like]
    steps = next_steps(MODEL, chances(**dict.fromkeys(alike, 0.9 / len(alike))))
    assert steps.look is None
    assert steps.checks[0].check == "ac_pressures"
    assert steps.settles


def test_the_look_due_is_the_first_of_the_best_order():
    likely = chances(condenser_fan_dead=0.7, condenser_fouled=0.1, overcharge=0.1)
    steps = next_steps(MODEL, likely)
    looks = [proving_look(WORDS, row.cause) for row in likely if row.cause]
    opening = opening_minutes(look.access for look in looks)
    work = work_of([look.minutes for look in looks], [look.access for look in looks], opening)
    share = np.array([row.chance for row in likely if row.cause])
    share = share / share.sum()
    assert steps.look is not None
    assert steps.look.look == looks[int(look_order(share, work)[0])]
    assert steps.look.expected == pytest.approx(expected_minutes(share, work))


def test_no_look_is_due_where_something_else_leads():
    assert next_steps(MODEL, chances(condenser_fan_dead=0.2, overcharge=0.1)).look is None


def test_where_no_check_tells_anything_none_settles_it_and_the_part_is_looked_at():
    cause = "condenser_fan_dead"
    done = [(key, "") for key in WORDS.checks]
    steps = next_steps(MODEL, chances(**{cause: 0.9}), done=done)
    assert (steps.checks, steps.settles) == ((), False)
    assert steps.look is not None
    assert (steps.look.look.cause, steps.look.look.check) == (cause, None)
    assert steps.look.minutes == 60 * WORDS.causes[cause].access_hours
    assert next_steps(MODEL, chances(condenser_fan_dead=0.5)).settles


def test_stop_cautions_come_first_and_at_most_five():
    check = WORDS.checks["recover_and_weigh"]
    rows = cautions_for(WORDS, check, causes=["low_charge_leak_hose"], systems=["hvac"])
    levels = [row.level for row in rows]
    assert 0 < len(rows) <= MOST_CAUTIONS
    assert levels == sorted(levels, key=["stop", "care", "note"].index)
    assert "refrigerant_no_vent" in {row.key for row in rows}

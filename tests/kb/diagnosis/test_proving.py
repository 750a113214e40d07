from dataclasses import replace

import pytest

from kb.case.model import Finding
from kb.case.terms import load_vocabulary
from kb.diagnosis.access import access_of, opening_minutes
from kb.diagnosis.proving import proves, proving_look, subject_of

WORDS = load_vocabulary()


def minutes(key, opened=()):
    check = WORDS.checks[key]
    access = access_of(check)
    return check.typical_minutes + opening_minutes([access], opened).get(access, 0.0)


@pytest.mark.parametrize("cause", sorted(WORDS.causes))
def test_every_cause_of_the_catalogue_is_settled_by_its_shortest_proving_check(cause):
    row, look = WORDS.causes[cause], proving_look(WORDS, cause)
    assert look.check in row.prove
    assert minutes(look.check) == min(map(minutes, row.prove))
    assert look.outcome == row.expect.get(look.check)


def test_a_proving_check_that_is_done_is_not_the_look():
    cause = "low_charge_leak_evaporator"
    first = proving_look(WORDS, cause)
    second = proving_look(WORDS, cause, done={(first.check or "", first.subject or "")})
    assert {first.check, second.check} == set(WORDS.causes[cause].prove)


def test_where_all_is_done_the_part_itself_is_seen():
    cause = "low_charge_leak_evaporator"
    row = WORDS.causes[cause]
    done = {(key, subject_of(WORDS, cause, WORDS.checks[key])) for key in row.prove}
    look = proving_look(WORDS, cause, done=done)
    assert (look.check, look.outcome, look.access) == (None, None, "")
    assert look.minutes == 60 * row.access_hours


def test_an_open_access_makes_the_look_behind_it_the_shortest():
    cause = "low_charge_leak_evaporator"
    shut = proving_look(WORDS, cause).check
    assert shut == "evap_drain_probe"
    opened = proving_look(WORDS, cause, opened=[access_of(WORDS.checks["evap_camera"])])
    assert minutes("evap_camera", [access_of(WORDS.checks["evap_camera"])]) < minutes(shut)
    assert opened.check == "evap_camera"


def test_a_cause_that_only_the_shop_knows_takes_the_usual_access():
    look = proving_look(WORDS, "mouse in the airbox")
    hours = [row.access_hours for row in WORDS.causes.values()]
    assert (look.check, look.cause) == (None, "mouse in the airbox")
    assert min(hours) < look.minutes / 60 < max(hours)


@pytest.mark.parametrize(
    ("cause", "finding", "proven"),
    [
        ("condenser_fan_dead", Finding(check="fan_command_test", outcome="no_run"), True),
        ("condenser_fan_dead", Finding(check="fan_command_test", outcome="all_speeds"), False),
        # Expected of the cause, but no check that proves it.
        ("condenser_fan_dead", Finding(check="ac_pressures", outcome="both_high"), False),
        ("nobody_knows", Finding(check="fan_command_test", outcome="no_run"), False),
    ],
)
def test_a_finding_proves_a_cause_by_a_proving_check_with_its_outcome(cause, finding, proven):
    assert proves(WORDS, cause, finding) is proven


def test_a_proving_check_on_another_part_proves_nothing():
    check = "loaded_feed_ground"
    right = Finding(check=check, outcome="both_good", subject="condenser fan")
    assert proves(WORDS, "condenser_fan_dead", right)
    assert not proves(WORDS, "condenser_fan_dead", replace(right, subject="horn"))

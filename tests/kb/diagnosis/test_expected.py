import numpy as np
import pytest

from kb.case.terms import load_vocabulary
from kb.diagnosis.calibration import Calibration
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.expected import LEAST_NATS, expected_of, held_by, is_known
from kb.diagnosis.witnesses import Witnesses
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.measures import Measure

WORDS = load_vocabulary()
FAN = "condenser_fan_dead"


def token(part, field, value="yes"):
    return Token(part=part, field=field, value=value, what=field)


def a_case(name, cause, *tokens, high=None):
    value = None if high is None else float(high)
    row = Measure(key="high_side_pressure", value=value or 0.0, what="high")
    measures = (row,) if value is not None else ()
    return CaseFeatures(case=name, cause=cause, tokens=tokens, measures=measures)


def expected(*cases, cause=FAN, calibration=None):
    model = CauseModel(WORDS, calibration=calibration or Calibration(temper=1.0))
    model.fit(cases, CaseIndex().fit(cases))
    witnesses = Witnesses(model, cause)
    return model, witnesses, expected_of(model, witnesses)


SQUEAL = token("symptom", "brake_squeal|")
OTHERS = [a_case(f"X{i}", "overcharge", high=1000 + 10 * i) for i in range(8)]


def test_without_a_case_only_the_checks_of_the_catalogue_are_expected():
    _, _, rows = expected(a_case("A", "overcharge"))
    listed = WORDS.causes[FAN].expect
    assert rows
    for row in rows:
        check, _, subject = row.item.field.partition("|")
        assert row.item.value == listed[check]
        assert bool(subject) == bool(WORDS.checks[check].subject)
        assert WORDS.checks[check].kind != "lookup"
        assert row.counts == "from the trade's list"


def test_each_tells_what_the_model_would_make_of_it_most_telling_first():
    model, witnesses, rows = expected(*OTHERS, a_case("A", FAN, SQUEAL), a_case("B", FAN, SQUEAL))
    nats = [row.nats for row in rows]
    assert nats == sorted(nats, reverse=True)
    assert min(nats) >= LEAST_NATS
    for row in rows:
        if isinstance(row.item, Token):
            assert row.nats == pytest.approx(model.token_evidence(row.item)[witnesses.at])


def test_a_calibration_weighs_it_as_it_weighs_the_chances():
    cases = (*OTHERS, a_case("A", FAN, SQUEAL), a_case("B", FAN, SQUEAL))

    def squeal(**numbers):
        rows = expected(*cases, calibration=Calibration(temper=1.0, **numbers))[2]
        return next((row.nats for row in rows if row.item == plain), None)

    plain = next(row.item for row in expected(*cases)[2] if row.item.field == SQUEAL.field)
    assert squeal(weights={f"symptom {SQUEAL.field}": 0.5}) == pytest.approx(squeal() / 2)
    assert squeal(weights={f"symptom {SQUEAL.field}": 0.0}) is None


def test_what_most_cases_have_needs_two_cases():
    one = expected(a_case("A", FAN, SQUEAL), *OTHERS)[2]
    two = expected(a_case("A", FAN, SQUEAL), a_case("B", FAN, SQUEAL), *OTHERS)[2]
    assert SQUEAL.field not in {getattr(row.item, "field", "") for row in one}
    (row,) = [row for row in two if getattr(row.item, "field", "") == SQUEAL.field]
    assert row.what == WORDS.symptoms["brake_squeal"].say
    assert row.counts == "2 of 2 cases of this cause, 2 of 10 overall"


def test_a_reading_that_most_cases_have_is_said_in_the_units_of_the_trade():
    cases = (a_case("A", FAN, high=2000), a_case("B", FAN, high=2200))
    _, _, rows = expected(*cases, *OTHERS)
    (row,) = [row for row in rows if isinstance(row.item, Measure)]
    shown = WORDS.quantities["high_side_pressure"].shown
    assert shown == "psi"
    assert row.what == "High-side pressure, running: 290 to 319 psi"
    assert row.counts == "read in 2 of 2 cases of this cause"
    both_ways = (
        a_case("A", FAN, high=300),
        a_case("B", FAN, high=2200),
        a_case("C", FAN, high=1035),
    )
    rows = expected(*both_ways, *OTHERS)[2]
    assert not [row for row in rows if isinstance(row.item, Measure)]


def found(rows, field):
    return next(row for row in rows if getattr(row.item, "field", row.item.key) == field)


def test_what_the_job_holds_is_known_however_it_came_out():
    cases = (
        a_case("A", FAN, SQUEAL, token("code", "code|P0480", "stored"), high=2000),
        a_case("B", FAN, SQUEAL, token("code", "code|P0480", "stored"), high=2200),
    )
    _, witnesses, rows = expected(*cases, *OTHERS)

    def known(field, *tokens, measures=()):
        query = CaseFeatures(case="Q", tokens=tokens, measures=measures)
        return is_known(found(rows, field), held_by(query), witnesses)

    for field in (SQUEAL.field, "code|P0480", "high_side_pressure", "condenser_air_boost|"):
        assert not known(field)
    assert known(SQUEAL.field, token("symptom", SQUEAL.field, "no"))
    assert known(SQUEAL.field, token("condition", f"{SQUEAL.field}cold"))
    assert not known(SQUEAL.field, token("symptom", "no_crank|"))
    assert known("code|P0480", token("scan", "scan", "no codes"))
    assert not known("code|P0480", token("clause", "scan|at_idle", "on"))
    high = Measure(key="high_side_pressure", value=1.0, what="high")
    assert known("high_side_pressure", measures=(high,))
    assert not known("high_side_pressure", measures=(Measure(key="low", value=1.0, what=""),))
    assert known("condenser_air_boost|", token("finding", "condenser_air_boost|", "no_change"))


def test_a_check_whose_response_was_taken_is_known():
    _, witnesses, rows = expected(*OTHERS)
    key = "high_side_pressure change by condenser_air_boost"
    query = CaseFeatures(case="Q", measures=(Measure(key=key, value=-700.0, what="fell"),))
    assert is_known(found(rows, "condenser_air_boost|"), held_by(query), witnesses)


def test_a_check_on_another_part_does_not_settle_it():
    _, witnesses, rows = expected(*OTHERS)
    row = next(row for row in rows if row.item.field.startswith("loaded_feed_ground|"))

    def known(subject):
        done = token("finding", f"loaded_feed_ground|{subject}", "both_good")
        return is_known(row, held_by(CaseFeatures(case="Q", tokens=(done,))), witnesses)

    assert [known(subject) for subject in ("cooling fan", "", "window switch")] == [
        True, True, False,
    ]  # fmt: skip
    assert np.isfinite(row.nats)

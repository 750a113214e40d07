import pytest

from kb.case.terms import load_vocabulary
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.witnesses import Witnesses
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.measures import Measure

WORDS = load_vocabulary()
FAN = "condenser_fan_dead"
CHECK = "condenser_air_boost"
EXPECTED = WORDS.causes[FAN].expect[CHECK]


def token(part, field, value="yes"):
    return Token(part=part, field=field, value=value, what=field)


def witnesses(*cases, cause=FAN):
    return Witnesses(CauseModel(WORDS).fit(cases, CaseIndex().fit(cases)), cause)


def a_case(name, cause, *tokens, weight=1.0, low=None):
    measures = () if low is None else (Measure(key="low", value=float(low), what="low"),)
    return CaseFeatures(case=name, cause=cause, tokens=tokens, weight=weight, measures=measures)


WARM = token("symptom", "ac_cold_on_road_warm_in_traffic|")
FELL = token("finding", f"{CHECK}|", EXPECTED)
SAME = token("finding", f"{CHECK}|", "no_change")


def test_a_case_that_was_overturned_is_no_witness():
    found = witnesses(a_case("A", FAN, WARM), a_case("B", FAN, WARM, weight=0.0))
    assert found.rows.tolist() == [0]
    assert found.counts(WARM, speaks_for=True).startswith("1 of 1 case of this cause, 2 of 2")


def test_a_check_is_counted_among_the_cases_where_it_was_done():
    found = witnesses(a_case("A", FAN, FELL), a_case("B", FAN), a_case("C", "overcharge", SAME))
    assert found.name(FELL) == f"Add air over the condenser: {EXPECTED.replace('_', ' ')}"
    assert found.counts(FELL, speaks_for=True) == (
        "1 of 1 case of this cause with this check, 1 of 2 overall; as the trade's list expects"
    )
    assert found.counts(SAME, speaks_for=False) == (
        "0 of 1 case of this cause with this check, 1 of 2 overall; "
        f"the trade's list expects {EXPECTED.replace('_', ' ')}"
    )
    undone = token("finding", "recover_and_weigh|", "over")
    listed = WORDS.causes[FAN].expect["recover_and_weigh"].replace("_", " ")
    assert found.counts(undone, speaks_for=True) == (
        f"no case here with this check yet; the trade's list expects {listed}"
    )
    assert found.counts_where_known(undone) == "from the trade's list"
    assert found.counts_where_known(FELL) == found.counts(FELL, speaks_for=False).split(";")[0]


def test_a_check_of_another_part_is_not_what_the_catalogue_speaks_of():
    check, outcome = "loaded_feed_ground", WORDS.causes[FAN].expect["loaded_feed_ground"]
    found = witnesses(a_case("A", "overcharge"))
    own = found.counts(token("finding", f"{check}|cooling fan", outcome), speaks_for=True)
    other = found.counts(token("finding", f"{check}|window switch", outcome), speaks_for=True)
    assert own.endswith("as the trade's list expects")
    assert "list" not in other


def test_a_symptom_looked_for_in_vain_is_counted_where_it_was_there():
    found = witnesses(a_case("A", FAN, WARM), a_case("B", "overcharge"))
    absent = token("symptom", WARM.field, "no")
    assert found.counts(absent, speaks_for=False) == (
        "there in 1 of 1 case of this cause, 1 of 2 overall; on the trade's list"
    )


def test_the_catalogue_is_named_only_where_it_says_why_the_sign_is_what_it_is():
    found = witnesses(a_case("A", FAN, WARM))
    listed, stray = WARM, token("symptom", "brake_squeal|")
    assert found.counts(listed, speaks_for=True).endswith("; on the trade's list")
    assert "list" not in found.counts(listed, speaks_for=False)
    assert found.counts(stray, speaks_for=False).endswith("; not on the trade's list")
    assert "list" not in found.counts(stray, speaks_for=True)


def test_a_part_that_did_not_cure_is_not_counted():
    found = witnesses(a_case("A", FAN))
    assert found.counts(token("tried", "tried|fan relay", "same"), speaks_for=False) == ""


def test_a_cause_that_the_shop_added_has_nothing_in_the_catalogue():
    found = witnesses(a_case("A", "mouse_nest", WARM), cause="mouse_nest")
    assert found.counts(WARM, speaks_for=True) == "1 of 1 case of this cause, 1 of 1 overall"


def test_readings_stand_beside_those_of_the_cause_and_of_all_cases():
    cases = [a_case(f"F{i}", FAN, low=50 + i) for i in range(2)]
    cases += [a_case(f"X{i}", "overcharge", low=i) for i in range(6)]
    found = witnesses(*cases)
    here = Measure(key="low", value=49.0, what="low 49")
    # Ascending 0 1 2 3 4 5 50 51: the third and the seventh bound the middle half.
    assert found.values_beside(here) == "its 2 cases: 50 to 51; half of all 8: 2 to 50"
    assert found.readings("low").tolist() == [50.0, 51.0]
    assert witnesses(*cases, cause="air_in_circuit").values_beside(here) == ""


def test_what_more_than_half_of_the_cases_have():
    rows = (WARM, token("code", "code|P0480", "stored"))
    found = witnesses(a_case("A", FAN, *rows), a_case("B", FAN, WARM), a_case("C", "overcharge"))
    assert list(found.shared("tokens")) == [(WARM.key, 2)]
    assert list(witnesses(a_case("A", "overcharge", WARM)).shared("tokens")) == []


@pytest.mark.parametrize(
    ("key", "part", "what"),
    [
        ("observed|noise\tno", "observed", "noise: no"),
        ("code|P0480\tstored", "code", "code P0480"),
        (FELL.key, "finding", ""),
        (WARM.key, "symptom", WORDS.symptoms["ac_cold_on_road_warm_in_traffic"].say),
    ],
)
def test_a_stored_key_is_read_back_as_a_token(key, part, what):
    made = witnesses(a_case("A", FAN)).token(key)
    assert (made.part, made.key, made.what) == (part, key, what)


@pytest.mark.parametrize("key", ["make|dunmarrow\tsame", f"{WARM.field}\tno", "code family|P04\tx"])
def test_what_is_not_to_be_recorded_is_no_token(key):
    assert witnesses(a_case("A", FAN)).token(key) is None

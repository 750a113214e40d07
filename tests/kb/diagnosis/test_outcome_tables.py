import numpy as np
import pytest

from kb.case.terms import load_vocabulary
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.information import entropy_bits
from kb.diagnosis.outcome_tables import EXPECTED_SHARE, PSEUDO_CASES
from kb.diagnosis.proving import subject_of
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex

WORDS = load_vocabulary()
FAN, CHECK = "condenser_fan_dead", "condenser_air_boost"
EXPECTED = WORDS.causes[FAN].expect[CHECK]


def model_of(*cases):
    return CauseModel(WORDS).fit(cases, CaseIndex().fit(cases))


@pytest.fixture(scope="module")
def model():
    done = Token(part="finding", field=f"{CHECK}|", value="no_change", what="")
    return model_of(CaseFeatures(case="C0", cause=FAN, tokens=(done,)))


def test_without_a_case_a_check_shows_what_the_catalogue_expects():
    fitted = model_of(CaseFeatures(case="C0", cause="overcharge"))
    outcomes, shares = fitted.outcomes_.shares(CHECK, "")
    row = shares[fitted.number(FAN)]
    assert row[outcomes.index(EXPECTED)] == pytest.approx(EXPECTED_SHARE)
    assert row.sum() == pytest.approx(1)


def test_a_case_moves_what_its_cause_shows(model):
    outcomes, shares = model.outcomes_.shares(CHECK, "")
    own = shares[model.number(FAN)]
    wanted = PSEUDO_CASES * EXPECTED_SHARE / (PSEUDO_CASES + 1)
    assert own[outcomes.index(EXPECTED)] == pytest.approx(wanted)


def test_a_check_on_another_part_is_not_what_the_catalogue_speaks_of(model):
    check = "loaded_feed_ground"
    expected = WORDS.causes[FAN].expect[check]
    for subject, near in (("cooling fan", True), ("window switch", False)):
        outcomes, shares = model.outcomes_.shares(check, subject)
        share = shares[model.number(FAN), outcomes.index(expected)]
        assert (share == pytest.approx(EXPECTED_SHARE)) == near


def test_the_checks_of_a_cause_are_those_of_the_catalogue_without_looks(model):
    row = WORDS.causes[FAN]
    wanted = [WORDS.checks[key] for key in row.expect if not WORDS.checks[key].is_lookup]
    pairs = [(check.key, subject_of(WORDS, FAN, check)) for check in wanted]
    assert list(model.outcomes_.pairs_of(FAN)) == pairs
    assert not model.outcomes_.pairs_of(None)
    assert not model.outcomes_.pairs_of("a cause of the shop's own")


def test_a_table_has_all_causes_together_as_its_last_row(model):
    table = model.outcomes_.of((CHECK, ""))
    shares = model.outcomes_.shares(CHECK, "")[1]
    assert np.array_equal(table.shares[:-1], shares)
    assert table.shares[-1] == pytest.approx(model.prior_ @ shares)
    assert np.array_equal(table.entropies, entropy_bits(table.shares))
    assert model.outcomes_.of((CHECK, "")) is table

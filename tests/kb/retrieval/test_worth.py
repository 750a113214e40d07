"""What fields are worth: counted from closed cases, kept near the prior where there are few."""

import math
from dataclasses import replace

import pytest

from kb.retrieval import worth
from kb.retrieval.features import CaseFeatures, Token, observed_token
from kb.retrieval.index import CaseIndex
from kb.retrieval.measures import Measure, rarity
from kb.retrieval.similarity import COPY_RATE


def case(name, cause, *fields):
    tokens = tuple(Token(part="symptom", field=f, value="yes", what=f) for f in fields)
    return CaseFeatures(case=name, cause=cause, tokens=tokens)


def shop(copies):
    """Cause a always hums; half of all clunk."""
    rows = [case(f"A{n}", "a", "hum|", *(["clunk|"] if n % 2 else [])) for n in range(copies)]
    rows += [case(f"B{n}", "b", *(["clunk|"] if n % 2 else [])) for n in range(copies)]
    return rows + [case(f"C{n}", "c", *(["clunk|"] if n % 2 else [])) for n in range(copies)]


def test_a_symptom_that_cases_of_a_cause_share_is_worth_more_than_one_that_they_do_not():
    index = CaseIndex().fit(shop(40))
    assert index.presence_rate("hum|\tyes", "symptom") > 0.6
    assert index.presence_rate("clunk|\tyes", "symptom") < COPY_RATE["symptom"]


def test_few_cases_keep_the_prior():
    index = CaseIndex().fit(shop(1))
    assert index.presence_rate("hum|\tyes", "symptom") == pytest.approx(COPY_RATE["symptom"])


def test_agreement_is_the_formula_of_rate_and_share():
    index = CaseIndex().fit(shop(40))
    rate = index.presence_rate("hum|\tyes", "symptom")
    token = index_token("hum|")
    assert index.agreement(token) == pytest.approx(math.log(1 - rate + rate * 3))


def test_a_recorded_finding_counts_among_those_that_recorded_it():
    rows = [
        CaseFeatures(case=f"K{n}", cause="ab"[n % 2], tokens=(observed_token("x", "pq"[n % 2]),))
        for n in range(40)
    ]
    index = CaseIndex().fit([*rows, case("Z", "c")])
    rate = index.copy_rate("observed|x")
    assert rate > 0.5
    expected = math.log(1 - rate + rate * 2)
    assert index.agreement(observed_token("x", "p")) == pytest.approx(expected)
    assert index.conflict(observed_token("x", "p")) == pytest.approx(math.log(1 - rate))


def test_a_conflict_weighs_the_same_whichever_value_asks():
    rows = [
        CaseFeatures(
            case=f"K{n}",
            cause="ab"[n % 2],
            tokens=(Token(part="clause", field="fan|", value="on" if n % 2 else f"x{n}", what=""),),
        )
        for n in range(30)
    ]
    index = CaseIndex().fit(rows)
    here = [t for row in rows[:2] for t in row.tokens]
    assert index.conflict(here[0]) == index.conflict(here[1])


def index_token(field):
    return Token(part="symptom", field=field, value="yes", what=field)


@pytest.mark.parametrize("field", ["model|a\tb", "\t", "model|\t"])
def test_a_tab_in_what_was_typed_parts_no_field(field):
    index = CaseIndex().fit([case("A", "a", field), case("B", "b", "hum|")])
    assert index.values_of_ == {field: ("yes",), "hum|": ("yes",)}
    assert index.conflict(index_token(field)) <= 0


def read(key, value):
    return Measure(key=key, value=float(value), what=f"{key} {value}")


def test_readings_are_told_apart_however_often_they_are_asked_for(monkeypatch):
    monkeypatch.setattr(worth, "_MOST_REMEMBERED", 4)
    rows = [
        CaseFeatures(case=f"K{n:03d}", measures=(read("psi", n % 7), read("volt", 12 + n % 3)))
        for n in range(40)
    ]
    index = CaseIndex().fit(rows)
    asked = [(read(key, value), car) for key in ("psi", "volt") for value in (3, 5) for car in "ab"]
    for _ in range(2):
        for row, car in asked:
            assert index.score(row, car) == index.scale(row.key).score(row.value, car)
            assert index.rarity(row) == rarity(row, index.scale(row.key).population)
            assert max(len(index._normal), len(index._rare)) <= 4
    usual = replace(read("psi", 6), usual=True)
    assert index.rarity(usual) == "usual" != index.rarity(read("psi", 6))

import numpy as np
import pytest

from kb.diagnosis import linked
from kb.diagnosis.linked import LinkedFindings
from kb.retrieval.features import OBSERVED, CaseFeatures, Token, observed_token
from kb.retrieval.index import CaseIndex


def record(name, cause, **seen):
    return CaseFeatures(
        case=name, cause=cause, tokens=tuple(observed_token(k, v) for k, v in seen.items())
    )


def cases(size=120):
    """Heat always goes with steam whatever the cause; noise is for itself."""
    rng = np.random.default_rng(3)
    rows = []
    for number in range(size):
        cause = "pump" if number % 2 else "belt"
        hot = "yes" if rng.random() < (0.7 if cause == "pump" else 0.3) else "no"
        noise = "yes" if rng.random() < 0.5 else "no"
        rows.append(record(f"C{number:03}", cause, heat=hot, steam=hot, noise=noise))
    return rows


def linked_of(rows):
    index = CaseIndex().fit(rows)
    causes = np.array([{"belt": 0, "pump": 1}.get(c or "", -1) for c in index.causes_])
    return LinkedFindings(index, causes, 2)


def tokens(**seen):
    return record("Q", None, **seen).tokens


def test_a_finding_that_repeats_another_is_not_counted_twice():
    found = linked_of(cases())
    told = found.together(tokens(heat="yes", steam="yes"))
    alone = np.log(found.trees.shares[found.at[OBSERVED + "steam"], :, 1])
    # What steam says on top of heat is taken back for the cause that both speak for.
    assert told[1] < 0 < told[0]
    assert abs((told[1] - told[0]) + (alone[1] - alone[0])) < 0.25


def test_less_than_two_known_findings_say_nothing_together():
    found = linked_of(cases())
    assert found.together(tokens(heat="yes")) is None
    assert found.together(tokens(heat="yes", smell="sweet")) is None
    assert found.together(tokens(heat="yes", steam="boiling")) is None


def test_what_to_expect_follows_what_is_known():
    found = linked_of(cases())
    shares = found.expected(tokens(heat="no"))[OBSERVED + "steam"]
    assert shares.shape == (3, 2)
    assert (shares[:, 0] > 0.9).all()
    noise = found.expected(tokens(heat="no"))[OBSERVED + "noise"]
    assert noise == pytest.approx(found.expected(())[OBSERVED + "noise"], abs=0.1)


def test_a_case_without_a_cause_teaches_nothing():
    rows = cases()
    more = [*rows, record("D0", None, heat="yes", steam="no", noise="no")]
    query = tokens(heat="yes", steam="yes")
    assert linked_of(more).together(query) == pytest.approx(linked_of(rows).together(query))


def test_symptoms_and_findings_of_one_value_are_left_for_themselves():
    plain = Token(part="symptom", field="warm|", value="yes", what="warm")
    rows = [
        CaseFeatures(case=row.case, cause=row.cause, tokens=(*row.tokens, plain)) for row in cases()
    ]
    rows = [
        CaseFeatures(
            case=row.case, cause=row.cause, tokens=(*row.tokens, observed_token("light", "on"))
        )
        for row in rows
    ]
    assert set(linked_of(rows).values) == {OBSERVED + name for name in ("heat", "steam", "noise")}


def test_a_memory_with_one_finding_has_no_trees():
    found = linked_of([record(f"C{i}", "belt", heat="yes" if i else "no") for i in range(4)])
    assert found.trees is None
    assert found.expected(tokens(heat="yes")) == {}
    assert found.together(tokens(heat="yes", noise="no")) is None


def test_fields_recorded_least_are_left_out_first(monkeypatch):
    monkeypatch.setattr(linked, "MOST_FIELDS", 2)
    rows = cases()
    rows = [
        CaseFeatures(case=row.case, cause=row.cause, tokens=row.tokens[: 2 if at % 2 else 3])
        for at, row in enumerate(rows)
    ]
    assert set(linked_of(rows).values) == {OBSERVED + "heat", OBSERVED + "steam"}


def test_what_was_learned_is_kept_and_not_learned_again(monkeypatch):
    rows = cases()
    index, found = CaseIndex().fit(rows), linked_of(rows)
    monkeypatch.setattr(linked, "fit_trees", lambda _: pytest.fail("it was learned again"))
    causes = np.zeros(len(rows), np.int64)
    again = LinkedFindings(index, causes, 2, kept=found.as_arrays())
    query = tokens(heat="yes", steam="yes")
    mine, theirs = again.together(query), found.together(query)
    assert mine is not None
    assert theirs is not None
    assert np.array_equal(mine, theirs)


def test_of_a_single_finding_nothing_is_learned_or_kept():
    found = linked_of([record("C0", "belt", heat="yes"), record("C1", "pump", heat="no")])
    assert found.trees is None
    assert found.as_arrays() == {}

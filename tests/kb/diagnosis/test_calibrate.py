import numpy as np
import pytest

from kb.diagnosis.calibrate import LEAST_JOBS, ClosedJob, calibrate, new_share
from kb.diagnosis.calibration import SHIPPED
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.measure import Answered, calibration_error, score_chances, separation
from kb.retrieval.features import CaseFeatures, observed_token
from kb.retrieval.index import CaseIndex
from kb.retrieval.measures import Measure
from kb.workflow.records import bare_words

WORDS = bare_words()


def shop(size, *, seed=11, causes=12, start=0):
    """Invented closed jobs: eight findings and four readings that their cause moves, half seen."""
    table = np.random.default_rng(99)
    yes = table.random((causes, 8))
    mean = table.normal(0, 1.5, (causes, 4))
    rng = np.random.default_rng(seed)
    made = []
    for number in range(start, start + size):
        cause = int(rng.integers(causes))
        tokens = tuple(
            observed_token(f"f{k}", "yes" if rng.random() < yes[cause, k] else "no")
            for k in range(8)
            if rng.random() < 0.6
        )
        values = rng.normal(mean[cause], 1)
        measures = tuple(
            Measure(key=f"r{k}", value=float(values[k]), what=f"r{k}")
            for k in range(4)
            if rng.random() < 0.6
        )
        made.append(
            CaseFeatures(case=f"C{number:05}", cause=f"c{cause}", tokens=tokens, measures=measures)
        )
    return made


def fitted(cases):
    return calibrate([ClosedJob(stored=case, asked=case) for case in cases], WORDS)


CASES = shop(400)
NUMBERS = fitted(CASES)


def asked(numbers, cases, queries):
    model = CauseModel(WORDS, calibration=numbers).fit(cases, CaseIndex().fit(cases))
    rows = []
    for query in queries:
        chances = model.chances(model.index.ask(query))
        rows.append(
            Answered(
                causes=tuple(row.cause for row in chances),
                chances=tuple(row.chance for row in chances),
                truth=query.cause if query.cause in model.causes_ else None,
            )
        )
    return rows


def test_few_closed_jobs_keep_the_shipped_numbers():
    few = fitted(CASES[: LEAST_JOBS - 1])
    assert (few.weights, few.vote, few.novelty) == (SHIPPED.weights, SHIPPED.vote, ())
    assert few.tried == LEAST_JOBS - 1


def test_causes_that_came_once_are_nothing_to_fit_on():
    alone = [CaseFeatures(case=f"C{i:03}", cause=f"c{i}") for i in range(LEAST_JOBS + 50)]
    assert fitted(alone).weights == SHIPPED.weights


def test_the_order_of_jobs_changes_no_number():
    assert fitted(CASES[::-1]) == NUMBERS


def test_fitted_numbers_surprise_less_on_jobs_that_they_have_not_seen():
    later = shop(300, seed=12, start=1000)
    ours, shipped = (score_chances(asked(n, CASES, later))["nll"] for n in (NUMBERS, SHIPPED))
    assert ours < shipped
    assert calibration_error(asked(NUMBERS, CASES, later)) < 0.08


def test_something_else_is_likelier_for_causes_that_were_never_stored():
    kept = [case for case in CASES if case.cause not in {"c1", "c7"}]
    rows = asked(fitted(kept), kept, shop(300, seed=12, start=1000))
    other = [(row.chances[row.causes.index(None)], row.truth is None) for row in rows]
    inside = [chance for chance, new in other if not new]
    assert separation(inside, [chance for chance, new in other if new]) > 0.6


@pytest.mark.source("Good 1953", "causes seen once over jobs: 2 of 5; never below .02")
def test_the_share_of_new_causes_to_expect():
    assert new_share(["a", "b", "c", "c", "c"]) == pytest.approx(0.4)
    assert new_share(["a", "a"]) == 0.01

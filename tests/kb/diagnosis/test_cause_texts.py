import numpy as np
import pytest

from kb.case.terms import load_vocabulary
from kb.diagnosis.cause_terms import term_arrays
from kb.diagnosis.cause_texts import TEXT_WEIGHT, CauseTexts, catalogue_text, fit_texts, texts_of
from kb.retrieval.features import CaseFeatures

WORDS = load_vocabulary()


def test_a_cause_of_the_shops_own_has_its_name_for_words():
    assert catalogue_text(WORDS, "squirrel in the airbox") == "squirrel in the airbox"


def test_a_cause_of_the_catalogue_has_its_complaints_among_its_words():
    name, row = next((n, r) for n, r in WORDS.causes.items() if r.complaints)
    assert WORDS.symptoms[row.complaints[0]].say in catalogue_text(WORDS, name)


def test_the_words_of_a_case_lead_to_its_cause():
    cases = [CaseFeatures(case="C0", said="zorps at dusk", cause="b")]
    space = fit_texts(texts_of(cases), ("a", "b"), WORDS)["said word"]
    near = space.cosine(space.query("zorps"))
    assert near[1] > 0
    assert near[0] == 0


def evidence(texts, prior, **job):
    return texts.evidence(texts.ask(CaseFeatures(case="Q", **job)), prior)


def test_words_speak_for_their_cause_and_on_average_for_none():
    cases = [CaseFeatures(case="C0", said="zorps at dusk", cause="b")]
    texts = CauseTexts(term_arrays(fit_texts(texts_of(cases), ("a", "b"), WORDS)))
    prior = np.array([0.25, 0.75])
    nats = evidence(texts, prior, said="zorps")
    assert nats[1] > 0 > nats[0]
    assert prior @ nats == pytest.approx(0)
    assert not evidence(texts, prior).any()


CASES = (
    CaseFeatures(case="C0", said="zorps at dusk, zorps again", told="gromm torn", cause="b"),
    CaseFeatures(case="C1", said="cold at dusk", told="zorps behind the gromm", cause="a"),
    CaseFeatures(case="C2", said="dusk and dawn", cause="c"),
)
CAUSES, EVEN = ("a", "b", "c"), np.full(3, 1 / 3)


def test_all_words_at_once_say_what_each_space_says():
    spaces = fit_texts(texts_of(CASES), CAUSES, WORDS)
    job = {"said": "zorps at dusk", "told": "torn gromm, never heard of"}
    text = "\n".join(job.values())
    shares = {"said word": 0.65 * 0.3, "said char": 0.65 * 0.7, "told word": 0.35 * 0.3}
    shares["told char"] = 0.35 * 0.7
    # Each space by itself, before they become parts of one table.
    alone = np.zeros(len(CAUSES))
    for name, row in spaces.items():
        alone += shares[name] * row.cosine(row.query(text))
    found = evidence(CauseTexts(term_arrays(spaces)), EVEN, **job)
    assert found == pytest.approx(TEXT_WEIGHT * (alone - alone.mean()))
    assert np.ptp(found) > 1


def test_words_shared_with_a_cause_are_those_of_its_spaces_the_strongest_first():
    spaces = fit_texts(texts_of(CASES), CAUSES, WORDS)
    job = CaseFeatures(case="Q", said="zorps at dusk behind the gromm")
    words = CauseTexts(term_arrays(spaces)).ask(job)
    for cause in range(len(CAUSES)):
        rows = [spaces[f"{name} word"] for name in ("said", "told")]
        wanted = [row.shared_terms(row.query(job.said), cause, most=2) for row in rows]
        assert list(words.shared_terms(cause, most=2)) == [*wanted[0], *wanted[1]]
    assert "zorps" in words.shared_terms(1, most=2)

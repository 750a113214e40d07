import numpy as np
import pytest

from kb.case.terms import load_vocabulary
from kb.diagnosis.cause_texts import catalogue_text, fit_texts, text_evidence
from kb.retrieval.features import CaseFeatures

WORDS = load_vocabulary()


def test_a_cause_of_the_shops_own_has_its_name_for_words():
    assert catalogue_text(WORDS, "squirrel in the airbox") == "squirrel in the airbox"


def test_a_cause_of_the_catalogue_has_its_complaints_among_its_words():
    name, row = next((n, r) for n, r in WORDS.causes.items() if r.complaints)
    assert WORDS.symptoms[row.complaints[0]].say in catalogue_text(WORDS, name)


def test_the_words_of_a_case_lead_to_its_cause():
    cases = [CaseFeatures(case="C0", said="zorps at dusk", cause="b")]
    space = fit_texts(cases, ("a", "b"), WORDS)["said word"]
    near = space.cosine(space.query("zorps"))
    assert near[1] > 0
    assert near[0] == 0


def test_words_speak_for_their_cause_and_on_average_for_none():
    cases = [CaseFeatures(case="C0", said="zorps at dusk", cause="b")]
    spaces, prior = fit_texts(cases, ("a", "b"), WORDS), np.array([0.25, 0.75])
    nats = text_evidence(spaces, CaseFeatures(case="Q", said="zorps"), prior)
    assert nats[1] > 0 > nats[0]
    assert prior @ nats == pytest.approx(0)
    assert not text_evidence(spaces, CaseFeatures(case="Q"), prior).any()

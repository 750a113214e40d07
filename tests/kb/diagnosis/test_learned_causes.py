import numpy as np
import pytest

from kb.diagnosis.causes import CauseModel
from kb.diagnosis.explain import Explainer
from kb.diagnosis.learned_causes import BESIDE_LEARNED, learned_evidence
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.learn import fit_learned
from kb.workflow.records import bare_words

SAYING = {"leak": "drips wet", "noise": "squeals loud", "heat": "runs hot"}
CAUSES = {"heat": 0, "never learned": 1, "leak": 2, "noise": 3}


def cases(field="cause"):
    return [
        CaseFeatures(case=f"C{at:02}", said=f"{part} {said}", cause=cause, labels=((field, cause),))
        for at, (part, cause, said) in enumerate(
            (part, cause, said)
            for part in ("pump", "hose", "seal", "belt", "fan", "door")
            for cause, said in SAYING.items()
        )
    ]


def asked(said, told=""):
    return CaseFeatures(case="Q", said=said, told=told)


@pytest.fixture(scope="module")
def index():
    return CaseIndex().fit(cases()).attach(fit_learned(cases()))


def test_words_lift_the_cause_that_they_were_learned_for(index):
    nats = learned_evidence(index, asked("gate squeals"), CAUSES)
    assert nats is not None
    assert nats.argmax() == CAUSES["noise"]
    assert nats[CAUSES["leak"]] < 0


def test_what_was_found_by_now_speaks_too(index):
    nats = learned_evidence(index, asked("gate", told="runs hot"), CAUSES)
    assert nats is not None
    assert nats.argmax() == CAUSES["heat"]


def test_a_cause_that_was_not_learned_stands_at_0(index):
    nats = learned_evidence(index, asked("pump drips"), CAUSES)
    assert nats is not None
    assert nats[CAUSES["never learned"]] == 0


def test_the_average_over_the_shares_of_the_causes_is_a_likelihood_ratio_of_1(index):
    nats = learned_evidence(index, asked("pump drips"), CAUSES)
    assert nats is not None
    model = index.stored_fields.learned.fields[0]
    learned = np.array([nats[CAUSES[name]] for name in model.values])
    assert float(model.prior @ np.exp(learned)) == pytest.approx(1, abs=1e-3)


def test_nothing_is_said_where_nothing_was_learned_of_causes(index):
    other = CaseIndex().fit(cases("system")).attach(fit_learned(cases("system")))
    assert learned_evidence(other, asked("pump drips"), CAUSES) is None
    assert learned_evidence(CaseIndex().fit(cases()), asked("pump drips"), CAUSES) is None


def test_nothing_is_said_of_a_text_without_a_known_term(index):
    assert learned_evidence(index, asked("zzz"), CAUSES) is None
    assert learned_evidence(index, asked(""), CAUSES) is None


def test_the_causes_own_words_step_back_where_the_learned_field_speaks(index):
    words = bare_words()
    model = CauseModel(words).fit(cases(), index)
    plain = CauseModel(words).fit(cases(), CaseIndex().fit(cases()))
    query = asked("gate squeals")
    both, alone = model.parts(query), plain.parts(query)
    assert set(both) - set(alone) == {"learned"}
    assert both["text"] == pytest.approx(BESIDE_LEARNED * alone["text"])
    assert model.parts(asked("zzz"))["text"] == pytest.approx(plain.parts(asked("zzz"))["text"])


def test_what_was_learned_is_told_as_a_reason(index):
    model = CauseModel(bare_words()).fit(cases(), index)
    query = asked("gate squeals")
    (told,) = Explainer(model).explain(query, model.entries(query), ["noise"])
    said = {point.what: point.nats for point in told.speaks_for}
    assert said["what such words meant in earlier jobs"] > 0

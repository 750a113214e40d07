from dataclasses import replace

import pytest

from kb.case.model import Polarity, Symptom, Vehicle
from kb.diagnosis.chances import CauseChance
from kb.store.notes import NoteText, Pattern
from kb.workflow.notes import change_note
from kb.workflow.notes_shown import LEAST_CHANCE, notes_for
from kb.workflow.suggest import Suggestion
from kb.workflow.word_merges import merge
from kb.workflow.words import add_family
from tests.factories import a_job
from tests.kb.workflow.conftest import WORDS
from tests.kb.workflow.test_notes import TYPED, get, written

CAUSES = ("condenser_fan_dead", "overcharge", "low_charge_leak", "starter_worn")


def answers(*causes, chances=()):
    chances = chances or [0.9 / max(1, len(causes))] * len(causes)
    rows = [
        CauseChance(cause=cause, chance=chance, cases=())
        for cause, chance in (*zip(causes, chances, strict=True), (None, 0.1))
    ]
    return Suggestion(matches=(), causes=tuple(rows), checks=(), nothing_like_it=False)


def fits(shop, pattern, job, found=None, words=WORDS):
    """Say whether a note of that pattern is shown on a job."""
    text = NoteText(title="x", body="x", body_html="x", pattern=pattern)
    note_id = shop.write(lambda unit: unit.notes.add(text))
    with shop.store.read() as unit:
        return note_id in [note.id for note in notes_for(unit, job, found, words=words)]


def test_a_system_is_the_jobs_own_or_that_of_a_likely_cause_where_it_names_none(shop):
    hvac = Pattern(system="hvac")
    assert fits(shop, hvac, a_job(system="hvac"))
    assert not fits(shop, hvac, a_job(system="brakes"), answers("overcharge"))
    assert fits(shop, hvac, a_job(system=None), answers("overcharge"))
    assert not fits(shop, hvac, a_job(system=None), answers("starter_worn"))
    assert not fits(shop, hvac, a_job(system=None))
    unlikely = answers("starter_worn", "overcharge", chances=(0.8, LEAST_CHANCE / 2))
    assert not fits(shop, hvac, a_job(system=None), unlikely)


def test_a_cause_is_one_of_the_five_that_are_shown(shop):
    shown = [*CAUSES, *(key for key in WORDS.causes if key not in CAUSES)][:6]
    found = answers(*shown, chances=(0.3, 0.2, 0.15, 0.1, 0.08, 0.07))
    assert all(fits(shop, Pattern(cause=cause), a_job(), found) for cause in shown[:5])
    assert not fits(shop, Pattern(cause=shown[5]), a_job(), found)
    assert not fits(shop, Pattern(cause=shown[0]), a_job())


@pytest.mark.parametrize(
    ("polarity", "fit"),
    [(Polarity.YES, True), (Polarity.NO, False), (Polarity.WEAK, False), (Polarity.PAST, False)],
)
def test_a_symptom_is_one_that_the_car_shows(shop, polarity, fit):
    job = a_job(symptoms=(Symptom(text="x", concept="ac_not_cold", polarity=polarity),))
    assert fits(shop, Pattern(symptom="ac_not_cold"), job) is fit
    assert not fits(shop, Pattern(symptom="ac_cold_then_warm"), job)


def test_make_and_model_fit_in_whatever_case_and_a_family_stands_for_its_models(shop):
    car = a_job(vehicle=Vehicle(make="Pellarin", model="Copse"))
    assert fits(shop, Pattern(make="PELLARIN", model="copse"), car)
    assert not fits(shop, Pattern(make="Dunmarrow", model="Copse"), car)
    assert not fits(shop, Pattern(model="Copse platform"), car)
    shop.write(add_family, "Copse platform", "Pellarin Copse")
    words = shop.memory().words
    assert fits(shop, Pattern(model="copse PLATFORM"), car, words=words)
    assert not fits(shop, Pattern(make="Pellarin"), a_job(vehicle=Vehicle()))


def test_all_that_is_set_must_fit(shop):
    pattern = Pattern(system="hvac", make="Pellarin", cause="overcharge")
    car = a_job(vehicle=Vehicle(make="Pellarin"))
    assert fits(shop, pattern, car, answers("overcharge"))
    for field, other in (("system", "brakes"), ("make", "Dunmarrow"), ("cause", "starter_worn")):
        wrong = replace(pattern, **{field: other})
        assert not fits(shop, wrong, car, answers("overcharge"))


def test_a_cause_that_was_joined_to_another_is_shown_with_the_other(shop):
    shop.write(merge, "cause", "overcharge", into="condenser_fan_dead")
    words = shop.memory().words
    assert fits(shop, Pattern(cause="overcharge"), a_job(), answers("condenser_fan_dead"), words)
    note_id = written(shop, cause="overcharge")
    typed = TYPED | {"cause": "overcharge", "title": "Fan last"}
    shop.write(change_note, note_id, typed, words=words, seen=1)
    assert get(shop, note_id).text.pattern.cause == "overcharge"

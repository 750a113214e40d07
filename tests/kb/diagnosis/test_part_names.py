import pytest

from kb.case.terms import load_vocabulary
from kb.diagnosis.part_names import concerns, names_part

WORDS = load_vocabulary()


@pytest.mark.parametrize("said", ["alternator", "the alternator", "generator", "alt"])
def test_a_part_is_named_by_any_of_its_words(said):
    assert names_part(WORDS, said, "generator")


def test_another_part_is_not_named():
    assert not names_part(WORDS, "radiator hose", "generator")


def test_a_part_without_synonyms_is_named_by_its_own_words():
    assert names_part(WORDS, "air shutter", "air_shutter")


def test_a_check_on_another_subject_does_not_concern_the_part():
    check = next(key for key, row in WORDS.checks.items() if row.subject)
    bare = next(key for key, row in WORDS.checks.items() if row.subject is None)
    assert concerns(WORDS, check, subject="purge valve", part="purge_valve")
    assert not concerns(WORDS, check, subject="purge valve", part="crank_sensor")
    assert concerns(WORDS, bare, subject="purge valve", part="crank_sensor")
    assert concerns(WORDS, check, subject="", part="crank_sensor")

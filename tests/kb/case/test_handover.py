from dataclasses import replace

import pytest

from kb.case.handover import dangers_of, handovers_of, leaving_words, read_handovers
from kb.case.terms import load_vocabulary
from kb.errors import VocabularyError

WORDS = load_vocabulary()
ROW = '[[handover]]\nkey = "x"\nwatch = "w"\nstop = "s"\n'


@pytest.mark.parametrize("cause", sorted(WORDS.causes))
def test_every_cause_of_the_catalogue_says_what_to_watch_and_when_to_stop(cause):
    rows = handovers_of(cause, WORDS)
    assert rows
    assert all(row.watch.startswith("Watch") and row.stop for row in rows)
    assert [bool(row.danger) for row in rows] == sorted(
        (bool(r.danger) for r in rows), reverse=True
    )


@pytest.mark.parametrize(
    ("cause", "word"),
    [
        ("hose_collapsed", "brakes"),
        ("ball_joint", "Steering"),
        ("tank_seal_leak", "fuel"),
        ("isolation_heater", "high-voltage"),
        ("water_pump_leak", "overheat"),
        ("seat_plug", "Airbags"),
    ],
)
def test_a_repair_that_can_hurt_when_left_undone_names_the_danger(cause, word):
    assert any(word in danger for danger in dangers_of(cause, WORDS))


@pytest.mark.parametrize("cause", ["low_charge_leak_hose", "cabin_filter_blocked", "key_battery"])
def test_a_repair_of_comfort_is_no_safety_repair(cause):
    assert dangers_of(cause, WORDS) == ()


def test_a_cause_that_the_shop_added_is_told_by_its_system():
    own = replace(WORDS.causes["hose_collapsed"], key="own_brake_fault", cautions=())
    words = replace(WORDS, causes={**WORDS.causes, own.key: own})
    assert [row.key for row in handovers_of("own_brake_fault", words)] == ["brakes"]
    assert handovers_of("nobody_knows", WORDS) == ()
    assert handovers_of(None, WORDS) == ()


@pytest.mark.parametrize("field", ["systems", "cautions", "causes"])
def test_a_row_that_names_what_the_vocabulary_lacks_is_refused(field):
    with pytest.raises(VocabularyError, match="x: expected names of the vocabulary, got gremlins"):
        read_handovers(f'leave = "l"\n{ROW}{field} = ["gremlins"]\n', WORDS)


def test_no_sentence_reads_as_permission():
    rows = read_handovers(f'leave = "go"\n{ROW}', WORDS).rows
    assert [row.key for row in rows] == ["x"]
    said = " ".join(
        s for key in WORDS.causes for r in handovers_of(key, WORDS) for s in (r.watch, r.stop)
    )
    assert "safe to" not in said
    assert "safe to" not in leaving_words()

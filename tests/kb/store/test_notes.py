from datetime import timedelta

import pytest

from kb.errors import NotFoundError, StoreError
from kb.store.notes import NoteText, Pattern
from tests.kb.store.other_process import NOW

TEXT = NoteText(
    title="Fan first",
    body="Hear the *fan*.",
    body_html="<p>Hear the <em>fan</em>.</p>",
    pattern=Pattern(system="hvac", make="Dunmarrow"),
)


def write(store, verb, at=NOW, who="Ines"):
    with store.write(who, at) as unit:
        return verb(unit.notes)


def get(store, note_id):
    with store.read() as unit:
        return unit.notes.get(note_id)


@pytest.fixture
def kept(store):
    return write(store, lambda notes: notes.add(TEXT, week="2026-W47", row_key="came_back:hvac"))


def test_a_note_comes_back_as_it_was_kept(store, kept):
    note = get(store, kept)
    assert note.text == TEXT
    assert (note.week, note.row_key) == ("2026-W47", "came_back:hvac")
    assert (note.active, note.revision, note.at, note.who) == (True, 1, NOW, "Ines")
    assert get(store, write(store, lambda notes: notes.add(TEXT))).week is None


@pytest.mark.parametrize("number", [99, 2**40])
def test_a_number_that_no_note_has_is_said(store, kept, number):
    with pytest.raises(NotFoundError, match=f"got {number}"):
        get(store, number)


def test_every_write_counts_a_revision_and_is_one_line_of_history(store, kept):
    other = NoteText(
        title="Fan last", body="x", body_html="<p>x</p>", pattern=Pattern(model="Copse")
    )
    later = NOW + timedelta(days=1)
    write(store, lambda notes: notes.change(notes.get(kept), other), later, "Mara")
    write(store, lambda notes: notes.set_active(notes.get(kept), active=False))
    with store.read() as unit:
        assert unit.notes.patterns() == ()
        assert [note.id for note in unit.notes.all()] == [kept]
    write(store, lambda notes: notes.set_active(notes.get(kept), active=True))
    note = get(store, kept)
    assert (note.text, note.revision, note.active) == (other, 4, True)
    assert (note.who, note.at) == ("Mara", later)
    with store.read() as unit:
        assert [(line.verb, line.what) for line in unit.history.since(0)] == [
            ("note written", f"number {kept}: Fan first"),
            ("note changed", f"number {kept}: Fan last"),
            ("note taken down", f"number {kept}: Fan last"),
            ("note put up again", f"number {kept}: Fan last"),
        ]
        assert unit.notes.patterns() == ((kept, other.pattern),)


def test_notes_come_in_the_order_of_their_numbers_and_patterns_newest_first(store, kept):
    second = write(store, lambda notes: notes.add(TEXT))
    with store.read() as unit:
        assert [number for number, _ in unit.notes.patterns()] == [second, kept]
        assert [note.id for note in unit.notes.some([second, 99, kept])] == [second, kept]
        assert unit.notes.some([]) == ()


def test_a_unit_that_reads_writes_no_note(store, kept):
    with store.read() as unit:
        for verb in (
            lambda: unit.notes.add(TEXT),
            lambda: unit.notes.change(unit.notes.get(kept), TEXT),
            lambda: unit.notes.set_active(unit.notes.get(kept), active=False),
        ):
            with pytest.raises(StoreError, match=r"Store\.write"):
                verb()

import json
from collections import Counter

import pytest

from kb.store.exported import HISTORY
from tests.whole_shop import NOW, held


def change(out, record, **changes):
    """Change every line of one kind."""
    path = out / "shop.jsonl"
    made = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
    text = "".join(
        json.dumps(line | changes if line["record"] == record else line) + "\n" for line in made
    )
    path.write_text(text, "utf-8")


@pytest.mark.parametrize(
    ("record", "changes", "said"),
    [
        ("decisions", {"outcome": "lost"}, "another outcome"),
        ("shop_notes", {"title": "Other"}, "another title"),
        ("people", {"name": "INES", "role": "viewer"}, "another role"),
        ("photos", {"size_bytes": 1}, "another size_bytes"),
        ("shop_terms", {"who": "Ben"}, "another who"),
    ],
)
def test_what_the_shop_holds_in_another_state_is_refused_and_kept(
    filled, out, record, changes, said
):
    before = held(filled.store)
    change(out, record, **changes)
    taken = filled.take(out)
    assert [said in row.reason for row in taken.refused] == [True]
    assert "nothing was overwritten" in taken.refused[0].reason
    assert held(filled.store) == before


def test_a_setting_of_the_shop_is_kept(filled, out):
    with filled.store.write("Ines", NOW) as unit:
        unit.settings.set("holding days", "61")
    taken = filled.take(out)
    assert ["another value" in row.reason for row in taken.refused] == [True]
    with filled.store.read() as unit:
        assert unit.settings.get("holding days") == "61"


def test_a_person_is_the_same_in_whatever_case_and_since_whenever(filled, out):
    change(out, "people", name="INES", created="2020-01-01T00:00:00+00:00")
    taken = filled.take(out)
    assert (taken.refused, taken.known["people"]) == ([], 1)


def test_a_row_that_stands_twice_is_taken_once(empty, out):
    path = out / "shop.jsonl"
    made = path.read_text("utf-8").splitlines()
    twice = next(line for line in made if '"settings"' in line)
    path.write_text("\n".join([made[0], twice, *made[1:]]) + "\n", "utf-8")
    taken = empty.take(out, incomplete=True)
    assert taken.added["settings"] == 2
    assert taken.known["settings"] + len(taken.refused) == 1


def test_lines_that_say_the_same_are_as_many_as_they_were(filled, empty, tmp_path):
    with filled.store.write("Ines", NOW) as unit:
        unit.history.add_many("role", [None, None, None], "twice said")
        unit.searches.add("same")
        unit.searches.add("same")
    filled.export(tmp_path / "more", "jsonl")
    empty.take(tmp_path / "more")
    assert empty.take(tmp_path / "more").added == {}
    for table in ("history", "lost_searches"):
        there, here = (Counter(map(repr, held(s.store)[0][table])) for s in (filled, empty))
        assert here == there
    assert sum("twice said" in repr(row) for row in held(empty.store)[0][HISTORY.name]) == 3


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda path: path.unlink(), "got no file"),
        (lambda path: path.write_bytes(b"<script>"), "other bytes"),
    ],
)
def test_a_photo_that_is_not_there_as_it_was_is_left_out_and_told(empty, out, spoil, said):
    spoil(next((out / "photos").rglob("*.jpg")))
    first, second = empty.take(out).refused
    assert said in first.reason
    assert second.reason == "job J900003: 1 photos did not come"
    with empty.store.read() as unit:
        assert unit.photos.of("J900003") == ()


def test_a_hash_that_would_lead_elsewhere_is_refused(empty, out):
    change(out, "photos", content_hash="../../../etc/passwd")
    assert "64 digits" in empty.take(out).refused[0].reason


def test_words_that_came_are_the_shops_from_then_on(empty, out):
    with empty.store.read() as unit:
        before = unit.terms.state()
    empty.take(out)
    with empty.store.read() as unit:
        assert unit.terms.state() != before
        assert unit.terms.find("cause", "own_cause") is not None

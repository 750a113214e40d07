import random
import shutil

import pytest

from kb.retrieval import weigh
from kb.workflow import memory
from tests.kb.workflow.conftest import NOW, Shop
from tests.kb.workflow.test_close import closed, opened
from tests.kb.workflow.test_suggest import ask

FILES = (memory.SNAPSHOT, memory.LEARNED)


class Kept:
    """A shop whose index and learned file lie in a folder, and what it answers."""

    def __init__(self, folder):
        folder.mkdir()
        self.folder = folder
        self.shop = Shop(f"sqlite:///{folder / 'shop.db'}")
        for _ in range(8):
            closed(self.shop, opened(self.shop))
        self.fresh().rebuild("Ines", NOW)

    def fresh(self):
        return memory.Memory(self.shop.store, self.shop.words, folder=self.folder)

    def answer(self):
        return ask(self.shop, self.fresh())

    def files(self, name):
        """Return what the file or the files of a folder hold."""
        there = self.folder / name
        every = (
            [there] if there.is_file() else [file for file in there.rglob("*") if file.is_file()]
        )
        return {file.relative_to(self.folder): file.read_bytes() for file in sorted(every)}

    def put(self, name, files):
        """Let a file or a folder hold only these."""
        self.take_away(name)
        for part, data in files.items():
            (self.folder / part).parent.mkdir(parents=True, exist_ok=True)
            (self.folder / part).write_bytes(data)

    def take_away(self, name):
        there = self.folder / name
        shutil.rmtree(there) if there.is_dir() else there.unlink(missing_ok=True)


@pytest.fixture
def kept(tmp_path, monkeypatch):
    monkeypatch.setattr(weigh, "WORTH_LEARNING", 8)
    monkeypatch.setattr(memory, "WORTH_KEEPING", 1)
    first, second = Kept(tmp_path / "first"), Kept(tmp_path / "second")
    yield first, second
    first.shop.store.close()
    second.shop.store.close()


def without(kept, name):
    """Return what is answered where it is not there at all."""
    good = kept.files(name)
    kept.take_away(name)
    found = kept.answer()
    kept.put(name, good)
    return found


def mutations(good, other, drawn):
    """Yield what may stand in a file instead of what was kept."""
    for _ in range(6):
        broken = bytearray(good)
        broken[drawn.randrange(len(good))] ^= 1 << drawn.randrange(8)
        yield bytes(broken)
        yield good[: drawn.randrange(len(good))]
    yield from (b"", other, good + b"0")


def test_a_learned_file_that_is_not_what_was_kept_answers_as_if_it_were_not_there(kept):
    shop, other = kept
    name = memory.LEARNED
    good, first, expected = shop.files(name), shop.answer(), without(shop, name)
    # What was learned is not made anew until the next rebuild.
    assert expected != first
    ((part, data),) = good.items()
    for broken in mutations(data, other.files(name)[part], random.Random(7)):
        shop.put(name, {part: broken})
        assert shop.answer() == expected
    shop.put(name, good)
    assert shop.answer() == first


def test_a_kept_index_with_another_file_in_it_is_made_anew_from_the_store(kept):
    shop, other = kept
    name, drawn = memory.SNAPSHOT, random.Random(7)
    good, foreign, first = shop.files(name), other.files(name), shop.answer()
    assert without(shop, name) == first
    for part in good:
        for broken in (*list(mutations(good[part], foreign[part], drawn))[:2], foreign[part]):
            shop.put(name, {**good, part: broken})
            assert shop.answer() == first
        shop.put(name, {other: data for other, data in good.items() if other != part})
        assert shop.answer() == first
    shop.put(name, foreign)
    assert shop.answer() == first


@pytest.mark.parametrize("name", FILES)
def test_a_file_of_an_older_rebuild_is_not_taken_up(kept, name):
    shop, _ = kept
    older = shop.files(name)
    shop.fresh().rebuild("Ines", NOW)
    good, expected = shop.files(name), without(shop, name)
    assert good != older
    shop.put(name, older)
    assert shop.answer() == expected

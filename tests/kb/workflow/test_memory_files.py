import random

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

    def files(self):
        return {name: (self.folder / name).read_bytes() for name in FILES}

    def put(self, files):
        for name, data in files.items():
            (self.folder / name).write_bytes(data)


@pytest.fixture
def kept(tmp_path, monkeypatch):
    monkeypatch.setattr(weigh, "WORTH_LEARNING", 8)
    monkeypatch.setattr(memory, "WORTH_KEEPING", 1)
    first, second = Kept(tmp_path / "first"), Kept(tmp_path / "second")
    yield first, second
    first.shop.store.close()
    second.shop.store.close()


def without(kept, name):
    """Return what is answered where a file is not there at all."""
    good = kept.files()
    (kept.folder / name).unlink()
    found = kept.answer()
    kept.put(good)
    return found


def mutations(good, other, drawn):
    """Yield what may stand in a file instead of what was kept."""
    for _ in range(6):
        broken = bytearray(good)
        broken[drawn.randrange(len(good))] ^= 1 << drawn.randrange(8)
        yield bytes(broken)
        yield good[: drawn.randrange(len(good))]
    yield from (b"", other, good + b"0")


@pytest.mark.parametrize("name", FILES)
def test_a_file_that_is_not_what_was_kept_answers_as_if_it_were_not_there(kept, name):
    shop, other = kept
    good, first = shop.files(), shop.answer()
    expected = without(shop, name)
    # The index is made anew from the store; what was learned is not, until the next rebuild.
    assert (expected == first) == (name == memory.SNAPSHOT)
    for data in mutations(good[name], other.files()[name], random.Random(7)):
        shop.put({name: data})
        assert shop.answer() == expected
        shop.put(good)
    assert shop.answer() == first


@pytest.mark.parametrize("name", FILES)
def test_a_file_of_an_older_rebuild_is_not_taken_up(kept, name):
    shop, _ = kept
    older = shop.files()[name]
    shop.fresh().rebuild("Ines", NOW)
    good, expected = shop.files(), without(shop, name)
    assert good[name] != older
    shop.put({name: older})
    assert shop.answer() == expected

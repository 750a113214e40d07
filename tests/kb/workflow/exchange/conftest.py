import shutil
from pathlib import Path

import pytest

from kb.store.engine import default_url, open_store
from kb.workflow.exchange.found import find_export
from kb.workflow.exchange.give_out import FORMATS, give_out
from kb.workflow.exchange.known_words import KnownWords
from kb.workflow.exchange.take_in import take_in
from kb.workflow.exchange.taken import Rules, Taking
from tests.factories import make_store
from tests.whole_shop import NOW, ROLES, fill


class Place:
    """A shop in a folder of its own that gives out and takes in."""

    def __init__(self, folder: Path):
        self.photos = folder / "photos"
        if not folder.exists():
            make_store(default_url(folder))
        self.store = open_store(default_url(folder))

    def export(self, to, *forms):
        with self.store.read() as unit:
            return give_out(unit, to, forms=forms or tuple(FORMATS), photos=self.photos, at=NOW)

    def take(self, path, form=None, **rules):
        found = find_export(path, form)
        with self.store.write("Ines", NOW) as unit:
            words = KnownWords(unit)
            known = Rules(roles=ROLES, photos_from=found.photos, photos_to=self.photos, **rules)
            taking = Taking(unit=unit, words=words, rules=known)
            return take_in(taking, found.records(words), name=path.name)

    def put(self, *jobs):
        with self.store.write("Ines", NOW) as unit:
            unit.jobs.add_many(jobs, verb="open")


@pytest.fixture(scope="session")
def made(tmp_path_factory):
    """Return a folder with a filled shop and its export; made once, and copied."""
    folder = tmp_path_factory.mktemp("made")
    shop = Place(folder / "filled")
    with shop.store:
        fill(shop.store, shop.photos)
        shop.export(folder / "out")
    return folder


@pytest.fixture
def filled(made, tmp_path):
    shutil.copytree(made / "filled", tmp_path / "filled")
    shop = Place(tmp_path / "filled")
    with shop.store:
        yield shop


@pytest.fixture
def empty(tmp_path):
    shop = Place(tmp_path / "empty")
    with shop.store:
        yield shop


@pytest.fixture
def out(made, tmp_path):
    return shutil.copytree(made / "out", tmp_path / "out")

import pytest

from kb.errors import StoreError
from kb.store.engine import make_engine
from kb.store.marker import Marker, marked_place, write_marker
from kb.store.opening import check_opened
from tests.kb.store.by_hand import by_hand


@pytest.fixture
def check(store_url):
    """Return a function that checks the database of a test, as it stands beside a marker."""
    engine = make_engine(store_url)
    yield lambda place=None: check_opened(engine, None, place)
    engine.dispose()


def test_a_sound_database_passes_whoever_knows_its_marker(check, tmp_path):
    check()
    check(marked_place(None, tmp_path))
    write_marker(tmp_path / "server", Marker(shop="ab" * 16))
    with pytest.raises(StoreError, match="that of another shop"):
        check(marked_place(None, tmp_path))


@pytest.mark.parametrize(("found", "told"), [("0001", "older 0001; run"), ("9999", "newer 9999")])
def test_another_schema_is_told_before_anything_is_read(found, told, check, store_url):
    by_hand(store_url, "UPDATE alembic_version SET version_num = :found", found=found)
    with pytest.raises(StoreError, match=told):
        check()

import pytest

from kb.errors import ExchangeError
from kb.store.columns import table_of
from kb.store.tables import JobRow
from kb.workflow.exchange.give_out import FORMATS
from tests.whole_shop import NOW


def test_an_export_is_for_its_owner_alone_and_leaves_nothing_aside(filled, tmp_path):
    given = filled.export(tmp_path / "deep" / "out", "csv")
    out = tmp_path / "deep" / "out"
    assert out.stat().st_mode & 0o777 == 0o700
    assert sorted(path.name for path in out.iterdir()) == ["photos", "schema.json", "tables"]
    assert [path.name for path in out.parent.iterdir()] == ["out"]
    assert given.counts["jobs"] == 4
    assert (given.damaged, given.photos_gone) == ([], [])


def test_nothing_secret_and_nothing_of_this_database_is_in_an_export(out):
    for path in out.rglob("*"):
        if path.suffix in {".jsonl", ".csv", ".json", ".md"} and path.name != "schema.json":
            text = path.read_text("utf-8")
            assert not any(word in text for word in ("hash-of", "state of", "2026-W20"))


@pytest.mark.parametrize("form", FORMATS)
def test_the_same_shop_is_exported_to_the_same_bytes(filled, tmp_path, form):
    for name in ("a", "b"):
        filled.export(tmp_path / name, form)
    first, second = (
        {
            path.relative_to(tmp_path / name): path.read_bytes()
            for path in (tmp_path / name).rglob("*.*")
        }
        for name in ("a", "b")
    )
    assert first == second


def test_a_folder_with_something_in_it_is_never_written_into(filled, tmp_path):
    (tmp_path / "out").mkdir()
    filled.export(tmp_path / "out", "jsonl")
    with pytest.raises(ExchangeError, match="new or empty folder"):
        filled.export(tmp_path / "out", "jsonl")
    (tmp_path / "more.part").mkdir()
    with pytest.raises(ExchangeError, match="take it away first"):
        filled.export(tmp_path / "more", "jsonl")
    assert (tmp_path / "more.part").is_dir()


def test_an_export_that_fails_leaves_no_folder(filled, tmp_path, monkeypatch):
    monkeypatch.setattr("kb.workflow.exchange.give_out.export_schema", lambda: {1: object()})
    with pytest.raises(TypeError):
        filled.export(tmp_path / "out", "jsonl")
    assert not list(tmp_path.glob("out*"))


def test_damaged_jobs_and_lost_photos_are_named_and_the_rest_goes_out(filled, empty, tmp_path):
    with filled.store.write("Ines", NOW) as unit:
        jobs = table_of(JobRow)
        unit.connection.execute(jobs.update().where(jobs.c.id == "J900004").values(system="brakes"))
    next(filled.photos.rglob("*.jpg")).unlink()
    given = filled.export(tmp_path / "out")
    assert given.damaged == ["J900004"]
    assert [len(photo) for photo in given.photos_gone] == [64]
    assert empty.take(tmp_path / "out").added["jobs"] == 3

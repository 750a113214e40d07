from kb.store.engine import default_url, open_store
from tests.web.test_cli import empty, terminal

__all__ = ["empty", "terminal"]


def test_a_shop_moves_into_another_database_and_is_told_what_to_do_next(terminal, tmp_path):
    target = default_url(tmp_path / "new")
    job = terminal.told("open", "no crank, one click", "--json")["job"]
    text = terminal.said("move", "--to", target)
    assert "counts and hashes of every table are equal" in text
    assert "set BAYBOOK_DB to the URL after --to" in text
    with open_store(target) as store, store.read() as unit:
        assert unit.jobs.get(job).lines == ("no crank, one click",)


def test_a_shop_moves_neither_onto_itself_nor_onto_another(terminal, tmp_path):
    own = default_url(terminal.home)
    assert "got the same URL" in terminal.said("move", "--to", own, code=2)
    target = default_url(tmp_path / "new")
    terminal.said("move", "--to", target)
    assert "expected an empty database" in terminal.said("move", "--to", target, code=1)

from datetime import date
from pathlib import Path

import pytest

from kb.errors import ParseError, StoreError
from kb.store.engine import default_url
from web import home


def test_the_data_lives_where_the_environment_says(monkeypatch, tmp_path):
    monkeypatch.setenv("BAYBOOK_HOME", str(tmp_path))
    monkeypatch.delenv("BAYBOOK_DB", raising=False)
    assert home.home_folder() == tmp_path
    assert home.store_url(tmp_path) == default_url(tmp_path)
    monkeypatch.setenv("BAYBOOK_DB", "sqlite:////elsewhere/x.db")
    assert home.store_url(tmp_path) == "sqlite:////elsewhere/x.db"


def test_without_the_environment_it_is_the_platforms_data_folder(monkeypatch):
    monkeypatch.delenv("BAYBOOK_HOME", raising=False)
    assert home.home_folder().name == "baybook"
    assert home.home_folder() != Path("baybook")


@pytest.mark.parametrize(("typed", "metres"), [(None, 0.0), ("", 0.0), ("1600", 1600.0)])
def test_the_altitude_is_the_seas_unless_told_otherwise(monkeypatch, typed, metres):
    monkeypatch.delenv("BAYBOOK_ALTITUDE_M", raising=False)
    if typed is not None:
        monkeypatch.setenv("BAYBOOK_ALTITUDE_M", typed)
    assert home.altitude_m() == metres


def test_an_altitude_in_words_says_what_to_set(monkeypatch):
    monkeypatch.setenv("BAYBOOK_ALTITUDE_M", "a mile")
    with pytest.raises(ParseError, match="BAYBOOK_ALTITUDE_M in metres, got 'a mile'"):
        home.altitude_m()


def test_a_shop_that_was_never_made_says_what_to_run(monkeypatch, tmp_path):
    monkeypatch.setenv("BAYBOOK_HOME", str(tmp_path / "none"))
    monkeypatch.delenv("BAYBOOK_DB", raising=False)
    with pytest.raises(StoreError, match="run baybook init"):
        home.shop_store()


def test_the_history_names_who_is_signed_in_to_the_machine(monkeypatch, store):
    monkeypatch.setattr(home, "getuser", lambda: "ines")
    with home.writing(store) as unit:
        unit.history.add("note", None, "x")
    with store.read() as unit:
        assert unit.history.since(0)[0].who == "ines"
    assert isinstance(home.today(), date)

import sqlite3
from contextlib import closing

from tests.web.test_cli import empty, terminal  # noqa: F401 - fixtures


def test_a_sound_shop_ends_well_and_says_so(terminal):  # noqa: F811
    text = terminal.said("doctor")
    assert "jobs and cases" in text
    assert "WRONG" not in text
    rows = terminal.told("doctor", "--json")["looked_at"]
    assert {row["state"] for row in rows} <= {"sound", "look"}
    assert set(rows[0]) == {"name", "state", "seen", "to_do"}


def test_trouble_ends_with_code_1_and_names_the_case_and_what_to_do(terminal):  # noqa: F811
    with closing(sqlite3.connect(terminal.home / "baybook.db")) as other:
        other.execute("UPDATE closings SET lesson = 'other' WHERE job_id = 'S2'")
        other.commit()
    text = " ".join(terminal.said("doctor", code=1).split())
    assert "WRONG" in text
    assert "S2" in text
    assert "Do: stop the program" in text
    assert '"state": "wrong"' in terminal.said("doctor", "--json", code=1)


def test_a_database_that_is_gone_is_told_not_made(terminal):  # noqa: F811
    (terminal.home / "baybook.db").unlink()
    assert "got none" in " ".join(terminal.said("doctor", code=1).split())
    assert not (terminal.home / "baybook.db").exists()

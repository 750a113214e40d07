import pytest
from sqlalchemy.exc import DatabaseError

from kb.store.faults import store_error


@pytest.mark.parametrize(
    ("reason", "advice"),
    [
        ("database is locked", "another program holds the database; try again"),
        ("database or disk is full", "make room on the disk"),
        ("attempt to write a readonly database", "let this user write"),
        ("file is not a database", "restore the last backup"),
        ("something never met", "run baybook doctor"),
    ],
)
def test_an_error_of_the_database_says_what_to_do_next(reason, advice):
    message = str(store_error(DatabaseError("select 1", None, Exception(reason))))
    assert message.startswith("nothing was saved; expected a sound database, got:")
    assert reason in message
    assert advice in message

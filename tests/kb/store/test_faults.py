import pytest
from sqlalchemy.exc import DatabaseError

from kb.store.faults import no_such_job, store_error, taken


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


def test_an_unknown_id_and_a_number_that_is_taken_say_what_to_do_next():
    assert str(no_such_job("J9")) == (
        "expected the id of a job, got 'J9'; look at the list of jobs"
    )
    assert "expected an invoice that no other job has, got '17'" in str(taken("invoice", "17"))

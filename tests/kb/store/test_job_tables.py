import pytest
from hypothesis import HealthCheck, given, settings

from kb.errors import StoreError
from kb.store.job_tables import job_from_tables, job_tables
from tests.factories import a_full_case, a_job
from tests.kb.strategies import jobs


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(job=jobs())
def test_the_rows_of_any_job_make_the_job_again(job):
    assert job_from_tables(job_tables(job, 7)) == (job, 7)


def test_rows_in_another_order_make_the_same_job():
    case = a_full_case()
    tables = {name: rows[::-1] for name, rows in job_tables(case, 1).items()}
    assert job_from_tables(tables) == (case, 1)


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("readings", {"parent": 5}),
        ("symptoms", {"ordinal": 5}),
        ("finding_responses", {"ordinal": 1}),
        ("proofs", {"ordinal": -1}),
    ],
)
def test_a_row_that_belongs_nowhere_is_no_job(name, change):
    tables = job_tables(a_full_case(), 1)
    tables[name][-1] |= change
    with pytest.raises(StoreError, match=name):
        job_from_tables(tables)


def test_a_row_of_a_closing_that_is_not_there_is_no_job():
    tables = job_tables(a_full_case(), 1) | {"closings": []}
    with pytest.raises(StoreError, match="numbered from 0"):
        job_from_tables(tables)


def test_a_word_of_no_closed_list_is_no_job():
    tables = job_tables(a_job(), 1)
    tables["jobs"][0]["state"] = "gone"
    with pytest.raises(StoreError, match="gone"):
        job_from_tables(tables)

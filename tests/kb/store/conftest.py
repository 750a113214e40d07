"""Every test of the store that uses one runs on either engine, and begins knowing no job."""

import pytest

from kb.store.known_jobs import KnownJobs
from tests.conftest import on_both_engines


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run each test on SQLite and on PostgreSQL."""
    on_both_engines(metafunc)


@pytest.fixture(autouse=True)
def nothing_known(monkeypatch: pytest.MonkeyPatch) -> None:
    """Forget the jobs that earlier tests read: a damaged one would be shown as it was there."""
    monkeypatch.setattr("kb.store.known_jobs.KNOWN", KnownJobs())

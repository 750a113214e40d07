"""Every test of the store that uses one runs on either engine."""

import pytest

from tests.conftest import on_both_engines


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run each test on SQLite and on PostgreSQL."""
    on_both_engines(metafunc)

"""What all tests share: an empty store, and the outside source of a failing figure."""

from collections.abc import Generator, Iterator
from pathlib import Path

import pytest

from kb.store.engine import Store, default_url, open_store
from tests.factories import make_store


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Name the outside source of the expected values under a test that fails."""
    report = yield
    marks = list(item.iter_markers("source"))
    if report.failed and marks:
        places = "\n".join(": ".join(map(str, mark.args)) for mark in marks)
        report.sections.append(("expected values from", places))
    return report


@pytest.fixture
def store_url(tmp_path: Path) -> str:
    """Return the URL of an empty store of this test's own."""
    url = default_url(tmp_path)
    make_store(url)
    return url


@pytest.fixture
def store(store_url: str) -> Iterator[Store]:
    """Return an empty store of this test's own."""
    with open_store(store_url) as opened:
        yield opened

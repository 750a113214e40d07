import pytest

from tests.browser.conftest import DESKTOP, PHONE, TABLET


@pytest.mark.parametrize("size", [PHONE, TABLET, DESKTOP], ids=["phone", "tablet", "desktop"])
def test_today_opens_without_sideways_scrolling(visit, size):
    visitor = visit(size)
    visitor.open("/")
    width = visitor.page.evaluate("document.documentElement.scrollWidth")
    assert width <= size[0]

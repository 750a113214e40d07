"""The week on every screen and on paper, with rows of every kind in it."""

import pytest

from kb.case.iso_week import IsoWeek
from kb.store.engine import default_url, open_store
from tests.browser.conftest import DESKTOP, PHONE, TABLET
from tests.browser.test_access import (
    CUT,
    LEAST,
    TAPPED,
    TOO_SMALL,
    axe_violations,
    open_everything,
)
from tests.browser.test_print import pages_of
from tests.web.busy_week import keep_busy_week, says
from web import db
from web.week_words import rows as said_rows

CASES = tuple(f"S{at:03d}" for at in range(1, 13))


@pytest.fixture
def busy(shop, monkeypatch):
    """Let the newest week of the shop hold every kind of row."""
    week = IsoWeek.last_whole(db.today())
    monkeypatch.setattr(said_rows, "SAY", says())
    with open_store(default_url(shop.home)) as store:
        keep_busy_week(store, week, CASES)
    return week


@pytest.mark.source("WCAG 2.2", "levels A and AA as axe-core 4 checks them, and 1.4.6 (7 to 1)")
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_a_busy_week(visit, busy, scheme):
    visitor = visit(PHONE, color_scheme=scheme)
    assert visitor.open("/week").status == 200
    open_everything(visitor.page)
    assert visitor.page.locator("svg[role=img]").count() > 3
    assert axe_violations(visitor.page) == []


@pytest.mark.parametrize("size", [PHONE, TABLET, DESKTOP], ids=["phone", "tablet", "desktop"])
def test_a_busy_week_fits_its_screen_and_every_target_a_thumb(visit, busy, size):
    visitor = visit(size)
    assert visitor.open("/week").status == 200
    open_everything(visitor.page)
    assert visitor.page.evaluate("document.documentElement.scrollWidth") <= size[0]
    assert visitor.page.evaluate(CUT) == []
    assert visitor.page.evaluate(TOO_SMALL, [TAPPED, LEAST]) == []


def test_what_can_be_decided_stays_beside_a_picture_whose_numbers_are_open(visit, busy):
    visitor = visit(DESKTOP)
    visitor.open("/week")
    open_everything(visitor.page)
    card = visitor.page.locator(".week-first .week-row:has(.picture)").first
    deeds, said = card.locator(".deeds").bounding_box(), card.locator("div").first.bounding_box()
    numbers = card.locator("details.numbers table").bounding_box()
    assert numbers["height"] > 300
    assert deeds["y"] < said["y"] + said["height"] + 100
    assert deeds["x"] + deeds["width"] <= numbers["x"]


def test_the_week_works_by_keys_alone(visit, busy):
    visitor = visit(DESKTOP)
    visitor.open("/")
    page = visitor.page
    page.keyboard.press("?")
    assert "the week" in page.locator("#keys").inner_text()
    page.keyboard.press("Escape")
    page.locator("#keys").wait_for(state="hidden")
    page.keyboard.press("k")
    page.wait_for_url("**/week")
    topic = page.locator("details.week-topic").first
    for _ in range(80):
        page.keyboard.press("Tab")
        if topic.locator("summary").first.evaluate("one => one === document.activeElement"):
            break
    page.keyboard.press("Enter")
    assert topic.locator(".week-row").first.is_visible()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.getAttribute('href')").startswith("/case/")


def test_a_key_works_at_once_when_the_list_of_keys_was_closed(visit):
    visitor = visit(DESKTOP)
    visitor.open("/")
    page = visitor.page
    page.keyboard.press("?")
    page.locator("#keys").wait_for()
    # Closed and pressed in one go: the focus is still on the choice inside the closed list.
    at = page.evaluate("""() => {
      const list = document.getElementById("keys");
      list.close();
      const at = document.activeElement;
      at.dispatchEvent(new KeyboardEvent("keydown", { key: "k", bubbles: true, cancelable: true }));
      return at.tagName;
    }""")
    page.wait_for_url("**/week")
    assert at == "INPUT"


def test_the_week_works_without_a_script(visit, busy):
    visitor = visit(DESKTOP, java_script_enabled=False)
    visitor.open("/week")
    page = visitor.page
    topic = page.locator("details.week-topic").first
    topic.locator("summary").first.click()
    assert topic.locator(".week-row").first.is_visible()
    page.get_by_role("link", name="Earlier").click()
    assert f"Week {busy.shifted(-1)}" in page.locator("h1").inner_text()
    page.get_by_label("Week, like").fill(str(busy))
    page.get_by_role("button", name="Go").click()
    assert f"Week {busy}" in page.locator("h1").inner_text()


def test_a_busy_week_is_two_sheets_of_paper_the_decisions_on_the_first(visit, busy):
    visitor = visit(DESKTOP)
    visitor.open("/week")
    page = visitor.page
    assert pages_of(page, format="A4") == 2
    page.emulate_media(media="print")
    assert page.locator(".week-first .week-row:visible").count() == 3
    assert page.locator(".week-more a:visible").count() > 3
    assert page.locator("main button:visible, main input:visible").count() == 0
    assert page.locator("main .noprint:visible").count() == 0
    assert page.locator(".week-topic .week-row:visible").count() > 20

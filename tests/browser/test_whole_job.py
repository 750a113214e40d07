"""A whole job in the hand: opened, typed, a photo, three findings, closed, and found again."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESKTOP, PHONE
from tests.factories import a_picture

SAID = "It only gets cold once I am rolling."
TYPED = "vents go warm in town, cold again on the open road; no codes"
READ = "low 56 hi 322 amb 92F vent 69F"
PROOF = "blades stand still with 12.4 V at the plug"


@pytest.fixture
def picture(tmp_path):
    """Return the path of a photo."""
    path = tmp_path / "fan.jpg"
    path.write_bytes(a_picture())
    return path


def tap_outcomes(page, count):
    """Tap the first outcome of so many suggested checks, one after the other."""
    for _ in range(count):
        shown = page.locator("#answers details.check")
        if not shown.first.is_visible():
            page.get_by_text("Checks between the nearest causes", exact=True).click()
        if not shown.first.locator("button").first.is_visible():
            shown.first.locator("summary").click()
        shown.first.get_by_role("group").get_by_role("button").first.click()
        page.wait_for_load_state()


def fill_close(page):
    """Answer the four questions; return how many times something was tapped or filled."""
    page.get_by_label("Condenser fan or one speed dead").first.check()
    page.get_by_label("Method", exact=True).select_option("seen")
    page.get_by_label("What was seen or measured").first.fill(PROOF)
    page.get_by_label("replaced").check()
    page.get_by_label("In words: part, settings").fill("fan assembly")
    again = page.get_by_label(re.compile("High-side pressure"))
    again.fill("209")
    page.get_by_label("After-check").select_option("same_readings")


def sent(page):
    """Wait until the box of the job page is empty again: what was in it has arrived."""
    expect(page.get_by_label("Add what you hear")).to_have_value("")


def find_again(page, shop):
    """Type the complaint into Find; the case that was just closed comes first."""
    page.goto(shop.url + "/find")
    page.locator("#q").fill(TYPED)
    page.locator("main").get_by_role("button", name="Find", exact=True).first.click()
    expect(page.locator("ol.matches > li").first).to_contain_text("J000001")


def close_it(page, shop):
    """Close the job from its page."""
    page.get_by_role("link", name="Close the job").click()
    fill_close(page)
    page.get_by_role("button", name="Close the job").click()
    expect(page).to_have_url(f"{shop.url}/case/J000001")


def test_a_whole_job_at_phone_width(visit, shop, picture):
    visitor = visit(PHONE)
    page = visitor.page
    visitor.open("/")
    page.get_by_label("What you hear, see and measure").fill(TYPED)
    page.get_by_label("The customer's own sentence").fill(SAID)
    page.get_by_label("Vehicle: year make model engine").fill("2017 Pellarin Copse P20P")
    page.get_by_role("button", name="Open a job").click()
    expect(page).to_have_url(f"{shop.url}/job/J000001")
    page.get_by_label("Add what you hear").fill(READ)
    page.get_by_role("button", name="Add", exact=True).click()
    sent(page)
    page.set_input_files("#photo", picture)
    page.get_by_role("button", name="Add photos").click()
    expect(page.locator("[data-photos] img")).to_be_visible()
    tap_outcomes(page, 3)
    job = shop.job("J000001")
    assert (len(job.reading_sets[0].readings), len(job.findings)) == (4, 3)
    close_it(page, shop)
    case = shop.job("J000001")
    assert (case.cause, case.closing.fix_text) == ("condenser_fan_dead", "fan assembly")
    assert case.reading_sets[-1].phase == "after"
    find_again(page, shop)


def test_a_whole_job_without_a_script(visit, shop, picture):
    visitor = visit(PHONE, java_script_enabled=False)
    page = visitor.page
    visitor.open("/")
    page.get_by_label("What you hear, see and measure").fill(f"{TYPED}; {READ}")
    page.get_by_role("button", name="Open a job").click()
    page.set_input_files("#photo", picture)
    page.get_by_role("button", name="Add photos").click()
    tap_outcomes(page, 3)
    close_it(page, shop)
    assert len(shop.job("J000001").findings) == 3
    find_again(page, shop)


class Keyboard:
    """A person at the desk without a mouse."""

    def __init__(self, page):
        self.page = page

    def press(self, *keys):
        for key in keys:
            self.page.keyboard.press(key)

    def write(self, text):
        self.page.keyboard.type(text)

    def focused(self):
        return self.page.evaluate(
            "() => { const one = document.activeElement; const label = one.labels && one.labels[0];"
            " return (label ? label.innerText : one.innerText || one.value || '').trim(); }"
        )

    def seen(self):
        """Say whether the focus can be seen."""
        return self.page.evaluate(
            "() => getComputedStyle(document.activeElement).outlineStyle !== 'none'"
        )

    def tab_to(self, start, *, most=200):
        """Press Tab until something that begins with ``start`` has the focus."""
        for _ in range(most):
            self.press("Tab")
            assert self.seen(), self.focused()
            if self.focused().startswith(start):
                return
        raise AssertionError(f"never reached {start!r}")

    def send(self, start):
        """Reach a button by Tab and press it, then wait for the page that comes."""
        self.tab_to(start)
        with self.page.expect_navigation():
            self.press("Enter")

    def tap_an_outcome(self):
        """Go to the next check, and press the first outcome that can be tapped."""
        self.tab_to("Add")
        while self.page.evaluate("document.activeElement.name") != "outcome":
            self.press("Tab")
        with self.page.expect_navigation():
            self.press("Enter")


def close_by_keyboard(keys, shop):
    """Close the open job by its key, Tab, Space and Enter."""
    keys.press("c")
    expect(keys.page).to_have_url(f"{shop.url}/job/J000001/close")
    keys.tab_to("Condenser fan or one speed dead")
    keys.press("Space")
    keys.tab_to("Method")
    keys.write("Seen")
    keys.tab_to("What was seen or measured")
    keys.write(PROOF)
    keys.tab_to("replaced")
    keys.press("Space")
    keys.send("Close the job")
    expect(keys.page).to_have_url(f"{shop.url}/case/J000001")


def test_a_whole_job_by_keyboard_only(visit, shop):
    visitor = visit(DESKTOP)
    page, keys = visitor.page, Keyboard(visitor.page)
    visitor.open("/")
    keys.press("n")
    keys.write(f"{TYPED}; {READ}")
    keys.send("Open a job")
    keys.press("a")
    keys.write("customer says the fan was loud last month")
    keys.send("Add")
    assert len(shop.job("J000001").lines) == 2
    for _ in range(3):
        keys.tap_an_outcome()
    assert len(shop.job("J000001").findings) == 3
    close_by_keyboard(keys, shop)
    keys.press("/")
    keys.write(TYPED)
    with page.expect_navigation():
        keys.press("Enter")
    expect(page.locator("ol.matches > li").first).to_contain_text("J000001")


def test_two_people_on_one_job_see_each_others_change_side_by_side(visit, shop):
    one, other = visit(PHONE), visit(DESKTOP, role="technician")
    one.open("/")
    one.page.get_by_label("What you hear, see and measure").fill(TYPED)
    one.page.get_by_role("button", name="Open a job").click()
    expect(one.page).to_have_url(f"{shop.url}/job/J000001")
    for visitor in (one, other):
        visitor.open("/job/J000001")
        visitor.page.get_by_text("Waiting", exact=True).click()
    one.page.get_by_label("Waits for").fill("a fan motor")
    one.page.get_by_label("Waits for").press("Enter")
    expect(one.page.locator("main")).to_contain_text("waits for a fan motor")
    other.page.get_by_label("Waits for").fill("the owner's word")
    other.page.get_by_label("Waits for").press("Enter")
    expect(other.page.locator("h1")).to_contain_text("meanwhile")
    expect(other.page.locator("main")).to_contain_text("a fan motor")
    expect(other.page.locator("main")).to_contain_text("the owner's word")
    assert shop.job("J000001").waits_for == "a fan motor"
    other.page.get_by_role("button", name="Write mine as well").click()
    expect(other.page.locator("main")).to_contain_text("waits for the owner's word")

    # Lines of both are kept, whoever comes second.
    for visitor, text in ((one, "low 56"), (other, "hi 322")):
        visitor.open("/job/J000001")
        visitor.page.get_by_label("Add what you hear").fill(text)
    for visitor in (one, other):
        visitor.page.get_by_role("button", name="Add", exact=True).click()
        sent(visitor.page)
    assert shop.job("J000001").lines[-2:] == ("low 56", "hi 322")

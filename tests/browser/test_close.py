"""The close in the browser: how much is tapped, and that what is filled in stays filled in."""

import pytest

from kb.case.model import JobState
from tests.browser.conftest import PHONE

# As it is kept while the job goes: the last line proves the cause.
KEPT = (
    "cold on the road, warm at lights; hi 318 low 58 vent 68F\n"
    "fan air on condenser: hi 318 to 214, vent 68 to 47 x2"
)
# Taps and keys of a close of a job that was kept as it went (our choice): at two seconds a tap
# and one a key well under two minutes.
MOST_TAPS, MOST_KEYS = 8, 8


class Hand:
    """Counts the taps and the keys of one close."""

    def __init__(self, page):
        self.page, self.taps, self.keys = page, 0, 0

    def tap(self, selector):
        self.page.locator(selector).click()
        self.taps += 1

    def type(self, selector, text):
        self.tap(selector)
        self.page.keyboard.type(text)
        self.keys += len(text)


def opened(visitor):
    visitor.open("/")
    visitor.page.fill("#text", KEPT)
    with visitor.page.expect_navigation(url="**/job/*"):
        visitor.page.click("button[value=open]")
    return visitor.path.rsplit("/", 1)[1]


def reading(name):
    return f".again:has-text('{name}') input"


def test_a_job_kept_as_it_went_is_closed_with_a_few_taps(visit, shop):
    visitor = visit(PHONE)
    job = opened(visitor)
    visitor.open(f"/job/{job}/close")
    hand = Hand(visitor.page)
    hand.tap("label:has(input[name=fix][value=replaced])")
    hand.type(reading("High-side"), "209")
    hand.type(reading("Vent"), "46")
    hand.tap("#after_kind")
    visitor.page.select_option("#after_kind", "same_readings")
    hand.taps += 1
    with visitor.page.expect_navigation(url=f"**/case/{job}"):
        hand.tap("button:text-is('Close the job')")
    case = shop.job(job)
    assert case.state is JobState.CLOSED
    assert case.closing.cause == "condenser_fan_dead"
    assert case.closing.proofs[0].method == "came_and_went"
    assert "fell 109 psi" in visitor.page.inner_text("main")
    assert (hand.taps <= MOST_TAPS, hand.keys <= MOST_KEYS) == (True, True)


@pytest.mark.parametrize("before", ["", "lamp"])
def test_the_usual_choices_stay_filled_in_over_a_draft(visit, shop, before):
    visitor = visit(PHONE)
    job = opened(visitor)
    visitor.open(f"/job/{job}/close")
    page = visitor.page
    page.fill("#lesson", "Listen first.")
    page.locator("summary", has_text="Choices").click()
    page.fill("#option_1", before)
    with page.expect_navigation():
        page.locator("button[value=usual]").click()
    page.wait_for_load_state("networkidle")
    assert page.input_value("#lesson") == "Listen first."
    assert page.input_value("#option_1") == (before or page.input_value("#option_1")) != ""
    assert page.input_value("#kind_3") == ("workaround" if before else "declined")
    assert shop.job(job).closing is None


def test_the_enter_key_closes_nothing(visit, shop):
    visitor = visit(PHONE)
    job = opened(visitor)
    visitor.open(f"/job/{job}/close")
    visitor.page.focus("#lesson")
    with visitor.page.expect_navigation():
        visitor.page.keyboard.press("Enter")
    assert "Will stand as: likely" in visitor.page.inner_text("main")
    assert shop.job(job).closing is None

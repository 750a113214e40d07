"""A long messy job: its pieces put right by touch, with and without a script; live answers."""

import pytest

from kb.case.terms import load_vocabulary
from kb.store.engine import default_url, open_store
from kb.workflow.jobs import add_text
from tests.browser.conftest import DESKTOP, PHONE, TABLET, open_demo_job
from tests.browser.test_access import CUT, LEAST, TAPPED, TOO_SMALL, axe_violations, open_everything
from tests.kb.workflow.conftest import NOW

JOB = "J000001"
MESSY = (
    "blorf zinging quorx behind dash; comp 45; low side 2.5; hi 9000",
    "36/190 after 10 min; 14.6 V",
    "new alternator, same; p0301 stored ecm; swapped coil 2 to 3 misfire moved",
    "trims 22/18, rf drags, 310F rf 140F lf",
    "DS vent 44, PS vent 78; tft 180, line 70 psi idle, 60 in reverse",
    "no crank, no click when hot; batt 12.1/9.8",
    "smoke test 15 min no leak; hi 1400 after repair",
    "vibrates at 65 mph only, not on smooth road ünïcode <script>alert(1)</script>",
)


@pytest.fixture
def messy(visit, shop):
    """Return a function that opens a window on a long job, typed line by line."""
    open_demo_job(shop)
    with open_store(default_url(shop.home)) as store:
        for line in MESSY:
            with store.write("Ines", NOW) as unit:
                add_text(unit, JOB, line, words=load_vocabulary())

    def make(size=PHONE, **known):
        visitor = visit(size, **known)
        visitor.open(f"/job/{JOB}")
        return visitor

    return make


@pytest.mark.source("WCAG 2.2", "levels A and AA as axe-core 4 checks them, and 1.4.6 (7 to 1)")
@pytest.mark.parametrize(
    ("size", "scheme"), [(PHONE, "dark"), (TABLET, "light"), (DESKTOP, "light")],
    ids=["phone", "tablet", "desktop"],
)  # fmt: skip
def test_a_long_job_fits_every_hand_and_eye(messy, size, scheme):
    visitor = messy(size, color_scheme=scheme)
    open_everything(visitor.page)
    assert axe_violations(visitor.page) == []
    assert visitor.page.evaluate("document.documentElement.scrollWidth") <= size[0]
    assert visitor.page.evaluate(CUT) == []
    assert visitor.page.evaluate(TOO_SMALL, [TAPPED, LEAST]) == []


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_a_tap_corrects_one_reading_and_lands_at_the_pieces(messy, shop, script):
    visitor = messy(PHONE, java_script_enabled=script)
    chip = visitor.page.locator("li[id^=reading-]", has_text="44 °F")
    chip.locator("summary").click()
    chip.get_by_role("button", name="°C", exact=True).click()
    visitor.page.wait_for_url("**#pieces")
    assert visitor.page.locator("li[id^=reading-]", has_text="44 °C").count() == 1
    typed = [row.unit for group in shop.job(JOB).reading_sets for row in group.readings
             if row.typed == "44"]  # fmt: skip
    assert typed == ["degC"]


def test_a_question_is_answered_by_touch(messy, shop):
    visitor = messy(PHONE)
    point = visitor.page.locator("li.point", has_text="low side 2.5")
    point.get_by_role("button", name="bar", exact=True).click()
    visitor.page.wait_for_url("**#pieces")
    assert visitor.page.locator("li.point", has_text="low side 2.5").count() == 0
    assert "bar" in {row.unit for group in shop.job(JOB).reading_sets for row in group.readings}


@pytest.mark.parametrize(
    ("path", "box"), [("/", "#text"), ("/find", "#q"), (f"/job/{JOB}", "#text")]
)
def test_the_answers_come_while_somebody_types_and_nothing_is_stored(visit, shop, path, box):
    open_demo_job(shop)
    visitor = visit(PHONE)
    visitor.open(path)
    before = shop.last_write()
    visitor.page.fill(box, "no crank, no click; batt 12.6 V; zorble")
    visitor.page.wait_for_selector("#understood-live q:has-text('zorble')")
    assert "does not crank" in visitor.page.inner_text("#understood-live")
    assert visitor.page.locator("#answers section").count() >= 1
    assert shop.last_write() == before

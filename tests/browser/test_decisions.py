"""Deciding about a row of the week and writing a note: by thumb without a script, and by key."""

from playwright.sync_api import expect

from kb.store.engine import default_url, open_store
from tests.browser.conftest import DESKTOP, PHONE, ROW_WEEK


def kept(shop, row):
    with open_store(default_url(shop.home)) as store, store.read() as unit:
        return unit.decisions.open_about(row)


def test_a_foreman_decides_and_settles_by_thumb_without_a_script(visit, pages, shop):
    assert pages
    before = len(kept(shop, "pace"))
    visitor = visit(PHONE, role="foreman", java_script_enabled=False)
    page = visitor.page
    visitor.open(f"/week?week={ROW_WEEK}")
    page.locator("summary").filter(has_text="Half of the jobs").first.tap()
    page.get_by_role("link", name="Decide about: Half of the jobs").first.tap()
    page.get_by_label("What is to be done").fill("Order one more lift")
    page.get_by_label("By when").fill("2199-12-31")
    page.get_by_role("button", name="Save mine as well").tap()
    # The browser itself asks for nothing: the shop says what is missing, and keeps the rest.
    expect(page.get_by_label("Who does it")).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_label("What is to be done")).to_have_value("Order one more lift")
    page.get_by_label("Who does it").fill("Jon")
    page.get_by_role("button", name="Save mine as well").tap()
    page.wait_for_url("**/week?week=*")
    assert len(kept(shop, "pace")) == before + 1
    page.get_by_role("link", name="Order one more lift").first.tap()
    page.get_by_label("What came of it").fill("it stands since Monday")
    page.get_by_role("button", name="It is done").tap()
    expect(page.locator("ul.decided")).to_contain_text("(Jon): it stands since Monday")
    assert len(kept(shop, "pace")) == before


def test_a_decision_is_made_with_the_keyboard_alone(visit, pages, shop):
    assert pages
    visitor = visit(DESKTOP, role="foreman")
    page = visitor.page
    visitor.open(f"/week/decide?week={ROW_WEEK}&row=pace")
    page.get_by_label("What is to be done").focus()
    page.keyboard.type("Order one more lift")
    page.keyboard.press("Tab")
    page.keyboard.type("Jon")
    page.keyboard.press("Tab")
    page.keyboard.type("12312199")
    # Out of the day's parts and its calendar, to the button.
    save = page.get_by_role("button", name="Save mine as well")
    for _ in range(5):
        if save.evaluate("(one) => one === document.activeElement"):
            break
        page.keyboard.press("Tab")
    expect(save).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_url("**/week?week=*")
    assert kept(shop, "pace")[-1].plan.due.isoformat() == "2199-12-31"
    assert kept(shop, "pace")[-1].plan.owner == "Jon"


def test_two_people_at_one_row_lose_nothing(visit, pages, shop):
    assert pages
    both = [visit(DESKTOP, role=role) for role in ("foreman", "owner")]
    for who, visitor in zip(("Jon", "Mara"), both, strict=True):
        visitor.open(f"/week/decide?week={ROW_WEEK}&row=pace")
        visitor.page.get_by_label("What is to be done").fill(f"What {who} wants")
        visitor.page.get_by_label("Who does it").fill(who)
        visitor.page.get_by_label("By when").fill("2199-12-31")
    for visitor in both:
        visitor.page.get_by_role("button", name="Save mine as well").click()
        visitor.page.wait_for_load_state()
    second = both[1].page
    expect(second.get_by_role("alert")).to_contain_text("somebody decided about meanwhile")
    expect(second.get_by_role("link", name="What Jon wants")).to_be_visible()
    expect(second.get_by_label("What is to be done")).to_have_value("What Mara wants")
    second.get_by_role("button", name="Save mine as well").click()
    second.wait_for_url("**/week?week=*")
    assert [row.plan.owner for row in kept(shop, "pace")[-2:]] == ["Jon", "Mara"]


def test_a_note_is_written_by_thumb_without_a_script_and_stands_on_the_job(visit, pages):
    assert pages
    visitor = visit(PHONE, role="foreman", java_script_enabled=False)
    page = visitor.page
    visitor.open("/notes")
    page.get_by_role("link", name="Write a note").tap()
    page.get_by_label("Title").fill("Listen at the grille")
    page.get_by_label("What a colleague should know").fill("- with the A/C **on**")
    page.get_by_label("Likely cause").select_option("condenser_fan_dead")
    page.get_by_role("button", name="Save the note").tap()
    page.wait_for_url("**/notes")
    visitor.open("/job/J000001")
    note = page.locator(".note").filter(has_text="Listen at the grille")
    expect(note.locator("li strong")).to_have_text("on")
    expect(note).to_contain_text("From the shop: the foreman")

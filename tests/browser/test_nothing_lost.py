"""Dropped Wi-Fi, a closed tab, a double send: what was typed arrives once, or waits visibly."""

import json

from playwright.sync_api import expect

from kb.store.engine import default_url, open_store
from kb.workflow.passwords import Hasher
from tests.browser.conftest import let_in, open_demo_job
from tests.factories import a_picture
from tests.kb.store.other_process import NOW

TEXT = "cold on the road, warm at lights"


def texts(shop):
    return [line for job in shop.jobs() for line in job.lines]


def set_password(shop, name, password):
    """Give somebody of the shop a password."""
    with open_store(default_url(shop.home)) as store, store.write("Ines", NOW) as unit:
        (person,) = [row for row in unit.people.all() if row.name == name]
        unit.people.set_hashes(person.id, password_hash=Hasher().hash(password))


def draft(page, key="today"):
    """Return the draft of whoever the page was shown to."""
    stored = page.evaluate(
        f"localStorage.getItem('draft:' + document.body.dataset.person + ':' + {key!r})"
    )
    return json.loads(stored or "null")


def test_what_was_typed_in_a_closed_tab_is_there_in_the_next(visit, shop):
    visitor = visit()
    visitor.open("/")
    visitor.page.fill("#text", TEXT)
    expect(visitor.page.locator(".unsent")).to_contain_text("Not sent yet")
    visitor.page.close()
    visitor.page = visitor.context.new_page()
    visitor.open("/")
    expect(visitor.page.locator("#text")).to_have_value(TEXT)
    expect(visitor.page.locator(".unsent")).to_contain_text("typed on this device earlier")
    visitor.page.get_by_role("button", name="Open a job").click()
    expect(visitor.page).to_have_url(f"{shop.url}/job/J000001")
    visitor.open("/")
    expect(visitor.page.locator("#text")).to_have_value("")
    assert texts(shop) == [TEXT]


def test_what_was_sent_without_a_connection_arrives_once_when_it_is_back(visit, shop):
    visitor = visit()
    visitor.open("/")
    visitor.context.set_offline(True)
    visitor.page.fill("#text", TEXT)
    visitor.page.get_by_role("button", name="Open a job").click()
    expect(visitor.page.locator(".unsent")).to_contain_text("no connection")
    expect(visitor.page.locator(".bar")).to_contain_text("No connection")
    assert texts(shop) == []
    visitor.context.set_offline(False)
    expect(visitor.page).to_have_url(f"{shop.url}/job/J000001", timeout=15_000)
    assert texts(shop) == [TEXT]
    assert draft(visitor.page) is None


def test_an_answer_that_was_lost_on_the_way_back_makes_no_second_record(visit, shop):
    visitor = visit()
    visitor.open("/")
    visitor.page.fill("#text", TEXT)
    lost: list[int] = []

    def take_and_lose(route):
        if route.request.method == "POST" and not lost:
            lost.append(route.fetch(max_redirects=0).status)
            route.abort("connectionreset")
        else:
            route.continue_()

    visitor.page.route("**/jobs", take_and_lose)
    visitor.page.get_by_role("button", name="Open a job").click()
    visitor.page.wait_for_timeout(1000)
    assert lost == [302]
    visitor.page.unroute("**/jobs")
    visitor.open("/")
    expect(visitor.page.locator("#text")).to_have_value("")
    assert draft(visitor.page) is None
    assert texts(shop) == [TEXT]


def test_a_form_that_was_lost_on_the_way_there_stands_in_the_box_and_is_sent_once(visit, shop):
    visitor = visit()
    visitor.open("/")
    visitor.page.fill("#text", TEXT)
    visitor.page.route("**/jobs", lambda route: route.abort("connectionreset"))
    visitor.page.get_by_role("button", name="Open a job").click()
    visitor.page.wait_for_timeout(1000)
    visitor.page.unroute("**/jobs")
    assert texts(shop) == []
    visitor.open("/")
    expect(visitor.page.locator("#text")).to_have_value(TEXT)
    visitor.page.get_by_role("button", name="Open a job").click()
    expect(visitor.page).to_have_url(f"{shop.url}/job/J000001")
    assert texts(shop) == [TEXT]


def test_a_fault_of_the_program_loses_nothing(visit, shop):
    visitor = visit()
    visitor.open("/")
    visitor.page.fill("#text", TEXT)
    visitor.page.route("**/jobs", lambda route: route.fulfill(status=500, body="<h1>broke</h1>"))
    visitor.page.get_by_role("button", name="Open a job").click()
    expect(visitor.page.locator("h1")).to_have_text("broke")
    visitor.page.unroute("**/jobs")
    visitor.open("/")
    expect(visitor.page.locator("#text")).to_have_value(TEXT)


def test_pressing_back_and_sending_again_makes_one_job(visit, shop):
    visitor = visit()
    visitor.open("/")
    visitor.page.fill("#text", TEXT)
    visitor.page.get_by_role("button", name="Open a job").click()
    expect(visitor.page).to_have_url(f"{shop.url}/job/J000001")
    number = visitor.page.locator("input[name=form_id]").first.input_value()
    assert len(number) == 32
    visitor.page.evaluate("history.back()")
    expect(visitor.page).to_have_url(f"{shop.url}/")
    assert len(shop.jobs()) == 1


def test_a_line_typed_in_the_middle_of_a_job_without_a_connection_arrives_once(visit, shop):
    open_demo_job(shop)
    visitor = visit()
    visitor.open("/job/J000001")
    box = visitor.page.get_by_label("Add what you hear")
    visitor.context.set_offline(True)
    box.fill("fan silent with the A/C on")
    visitor.page.get_by_role("button", name="Add", exact=True).click()
    expect(visitor.page.locator(".unsent").first).to_contain_text("no connection")
    visitor.page.set_input_files(
        "#photo", [{"name": "a.jpg", "mimeType": "image/jpeg", "buffer": a_picture()}]
    )
    visitor.page.get_by_role("button", name="Add photos").click()
    expect(visitor.page.locator("[data-photos] .unsent")).to_contain_text("Send it again")
    assert len(shop.job("J000001").lines) == 1
    visitor.context.set_offline(False)
    expect(box).to_have_value("")
    expect(visitor.page.locator("main")).to_contain_text("fan silent with the A/C on")
    assert shop.job("J000001").lines[1:] == ("fan silent with the A/C on",)


def test_what_was_typed_when_the_sign_in_had_ended_is_sent_after_signing_in(visit, shop):
    visitor = visit(role="technician")
    visitor.open("/")
    visitor.page.fill("#text", TEXT)
    set_password(shop, "the technician", "a long password")
    visitor.context.clear_cookies(name="baybook_session")
    visitor.page.get_by_role("button", name="Open a job").click()
    expect(visitor.page.locator("main")).to_contain_text(TEXT)
    visitor.page.get_by_label("Your name here").fill("the technician")
    visitor.page.get_by_label("Password").fill("a long password")
    visitor.page.get_by_role("button", name="Sign in").click()
    expect(visitor.page.locator("main")).to_contain_text(TEXT)
    visitor.page.get_by_role("button", name="Send").click()
    expect(visitor.page).to_have_url(f"{shop.url}/job/J000001")
    assert texts(shop) == [TEXT]


def test_on_a_shared_tablet_nobody_sends_what_another_one_typed(visit, shop):
    visitor = visit(role="technician")
    visitor.open("/")
    visitor.context.set_offline(True)
    visitor.page.fill("#text", TEXT)
    visitor.page.get_by_role("button", name="Open a job").click()
    expect(visitor.page.locator(".unsent")).to_contain_text("no connection")
    visitor.page.goto("about:blank")
    # The tablet goes to another hand before the connection is back.
    let_in(visitor.context, shop, "foreman")
    visitor.context.set_offline(False)
    visitor.open("/")
    expect(visitor.page.get_by_role("link", name="the foreman")).to_be_visible()
    expect(visitor.page.locator("#text")).to_have_value("")
    # Longer than it takes the page to look around and send what waits.
    visitor.page.wait_for_timeout(6000)
    assert texts(shop) == []
    visitor.page.fill("#text", "no crank")
    expect(visitor.page.locator(".unsent")).to_contain_text("Not sent yet")
    # Back in the first hand, what that one typed is there, and what the other one typed is not.
    let_in(visitor.context, shop, "technician")
    visitor.open("/")
    expect(visitor.page.locator("#text")).to_have_value(TEXT)

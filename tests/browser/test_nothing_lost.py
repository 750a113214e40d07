"""Dropped Wi-Fi, a closed tab, a double send: what was typed arrives once, or waits visibly."""

import json

from playwright.sync_api import expect

TEXT = "cold on the road, warm at lights"


def texts(shop):
    return [line for job in shop.jobs() for line in job.lines]


def draft(page, key="draft:today"):
    return json.loads(page.evaluate(f"localStorage.getItem({key!r})") or "null")


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

"""Pages for the paper: one sheet a case, one for its customer, a label of the label's own size."""

import re

import pytest

from tests.browser.conftest import DESKTOP

CASES = ("S001", "S027", "S064", "S120", "S150", "S136")


def pages_of(page, **known):
    return len(re.findall(rb"/Type /Page\b(?!s)", page.pdf(prefer_css_page_size=True, **known)))


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("tail", ["", "/customer"])
def test_a_case_and_its_customers_page_fit_one_sheet_each(visit, case, tail):
    visitor = visit(DESKTOP)
    assert visitor.open(f"/case/{case}{tail}").status == 200
    assert pages_of(visitor.page, format="A4") == 1


def test_the_label_is_one_small_page(visit):
    visitor = visit(DESKTOP)
    visitor.open("/job/S001/label")
    content = visitor.page.pdf(prefer_css_page_size=True)
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", content)
    assert len(re.findall(rb"/Type /Page\b(?!s)", content)) == 1
    width, height = (float(side) * 25.4 / 72 for side in boxes[0])  # points to millimetres
    assert (round(width), round(height)) == (62, 32)


def test_paper_shows_no_button_and_the_code_of_the_case(visit):
    visitor = visit(DESKTOP)
    visitor.open("/case/S001")
    code = visitor.page.locator(".sheet-head .qr")
    assert not code.is_visible()
    visitor.page.emulate_media(media="print")
    assert code.is_visible()
    assert visitor.page.locator("main .button:visible, main button:visible").count() == 0


@pytest.mark.parametrize("path", ["/case/S001", "/case/S001/customer", "/job/S001/label"])
def test_a_page_that_was_dark_prints_dark_on_white(visit, path):
    visitor = visit(DESKTOP, color_scheme="dark")
    visitor.open(path)
    visitor.page.evaluate("document.documentElement.dataset.theme = 'dark'")
    visitor.page.emulate_media(media="print", color_scheme="dark")
    style = "(() => { const s = getComputedStyle(document.body); return [s.color, s.backgroundColor]; })()"
    assert visitor.page.evaluate(style) == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]

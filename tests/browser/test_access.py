"""Every page for every hand and eye: axe's rules, contrast, size of targets, zoom, no side scroll."""

import pytest

from tests.browser.conftest import DESKTOP, PHONE, TABLET

# What can be tapped, and how small it may be in CSS pixels (the design's choice, above WCAG 2.5.8).
TAPPED = "a, button, input:not([type=hidden]), select, textarea, summary"
LEAST = 48
# A link inside a sentence is as high as its line (WCAG 2.2, 2.5.8, the inline exception); a choice
# is tapped by its label.
TOO_SMALL = """([tapped, least]) => [...document.querySelectorAll(tapped)].filter((one) => {
  if (!one.checkVisibility({visibilityProperty: true}) || one.closest('.skip')) return false;
  const box = (one.type === 'radio' || one.type === 'checkbox' ? one.closest('label') || one : one)
    .getBoundingClientRect();
  if (!box.width || !box.height || box.right < 0) return false;
  const inline = one.matches('a') && getComputedStyle(one).display === 'inline';
  return !inline && (box.height < least - 0.5 || box.width < least - 0.5);
}).map((one) => one.outerHTML.slice(0, 120))"""
CUT = """() => [...document.querySelectorAll('main *')].filter((one) => {
  const style = getComputedStyle(one);
  return one.children.length === 0 && one.textContent.trim() && one.checkVisibility()
    && style.overflow !== 'visible' && !one.matches('textarea, input, select, option')
    && (one.scrollWidth > one.clientWidth + 1 || one.scrollHeight > one.clientHeight + 1);
}).map((one) => one.outerHTML.slice(0, 120))"""
RULES = {
    "runOnly": {
        "type": "tag",
        "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    },
    "rules": {"color-contrast-enhanced": {"enabled": True}, "target-size": {"enabled": True}},
}


def axe_violations(page):
    from axe_playwright_python.sync_playwright import Axe  # noqa: PLC0415 - an extra

    found = Axe().run(page, options=RULES).response["violations"]
    return [
        (rule["id"], node["target"], node["failureSummary"][:300])
        for rule in found
        for node in rule["nodes"]
    ]


def open_everything(page):
    """Open every fold, so that what is inside is looked at too."""
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")


@pytest.mark.source("WCAG 2.2", "levels A and AA as axe-core 4 checks them, and 1.4.6 (7 to 1)")
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_any_page(visit, pages, scheme):
    visitor = visit(PHONE, color_scheme=scheme)
    found = {}
    for path in pages:
        visitor.open(path)
        open_everything(visitor.page)
        if wrong := axe_violations(visitor.page):
            found[path] = wrong
    assert found == {}


@pytest.mark.parametrize("size", [PHONE, TABLET, DESKTOP], ids=["phone", "tablet", "desktop"])
def test_no_page_scrolls_sideways_nothing_is_cut_and_all_targets_fit_a_thumb(visit, pages, size):
    visitor = visit(size)
    wide, cut, small = {}, {}, {}
    for path in pages:
        visitor.open(path)
        open_everything(visitor.page)
        width = visitor.page.evaluate("document.documentElement.scrollWidth")
        if width > size[0]:
            wide[path] = width
        if found := visitor.page.evaluate(CUT):
            cut[path] = found
        if found := visitor.page.evaluate(TOO_SMALL, [TAPPED, LEAST]):
            small[path] = found
    assert (wide, cut, small) == ({}, {}, {})


@pytest.mark.source("WCAG 2.2", "1.4.4 resize text to 200 %, 1.4.10 reflow at 320 CSS pixels")
def test_every_page_reflows_at_twice_the_size(visit, pages):
    # 200 % on a window of 640 pixels is a page of 320 CSS pixels with twice the text.
    visitor = visit((320, 700), device_scale_factor=2)
    wide = {}
    for path in pages:
        visitor.open(path)
        open_everything(visitor.page)
        width = visitor.page.evaluate("document.documentElement.scrollWidth")
        if width > 320:
            wide[path] = width
    assert wide == {}


def test_every_field_is_named_and_every_page_has_one_heading_and_its_language(visit, pages):
    visitor = visit()
    for path in pages:
        visitor.open(path)
        assert visitor.page.locator("h1").count() == 1, path
        assert visitor.page.locator("html").get_attribute("lang") == "en"
        assert visitor.page.title().strip(), path

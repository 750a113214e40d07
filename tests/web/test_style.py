import re
from itertools import pairwise
from pathlib import Path

import pytest

import web

STYLE = (Path(web.__file__).parent / "static" / "style.css").read_text(encoding="utf-8")
LIGHT, DARK = (
    dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", block))
    for block in re.findall(r":root \{(.*?)\}", STYLE, re.DOTALL)
)
CHOSEN = {
    scheme: dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", block))
    for scheme, block in re.findall(r':root\[data-theme="(\w+)"\] \{(.*?)\}', STYLE, re.DOTALL)
}


def luminance(colour):
    def linear(channel):
        return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(int(colour[at : at + 2], 16) / 255) for at in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    dark, light = sorted([luminance(one), luminance(other)])
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.source("WCAG 2.2", "definition of contrast ratio: black on white is 21 to 1")
def test_the_measure_of_contrast_is_the_standards():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


@pytest.mark.source("WCAG 2.2", "1.4.6 contrast (enhanced): 7 to 1")
@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "panel"])
@pytest.mark.parametrize("text", ["ink", "soft", "link", "wrong", "stop"])
def test_text_can_be_read_in_a_dark_bay_and_a_bright_yard(scheme, ground, text):
    assert contrast(scheme[text], scheme[ground]) >= 7


def test_the_button_for_light_and_dark_shows_the_very_colours_of_the_system():
    assert CHOSEN == {"light": LIGHT, "dark": DARK}


@pytest.mark.source("WCAG 2.2", "1.4.11 non-text contrast: 3 to 1")
@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
def test_the_edge_of_a_field_can_be_seen(scheme):
    assert contrast(scheme["line"], scheme["paper"]) >= 3
    assert contrast(scheme["go-ink"], scheme["go"]) >= 7


@pytest.mark.parametrize(
    "selector",
    ["nav a", "input, select, textarea", "label.choice", "button, a.button", "summary", "td a",
     "ul.jobs a", "ol.matches > li > a"],
)  # fmt: skip
def test_what_is_tapped_is_high_enough_for_a_greasy_hand(selector):
    (rule,) = re.findall(rf"^{re.escape(selector)} \{{(.*?)\}}", STYLE, re.MULTILINE)
    (height,) = re.findall(r"min-height: (\d+)px", rule)
    assert int(height) >= 48


def test_nothing_is_fetched_and_nothing_shows_on_hover_alone():
    assert "url(" not in STYLE
    assert "@import" not in STYLE
    hovers = re.findall(r"[^{}]*:hover[^{}]*\{(.*?)\}", STYLE)
    assert all("display" not in rule and "visibility" not in rule for rule in hovers)


def test_every_class_of_a_template_has_a_rule_and_every_colour_both_schemes():
    folder = Path(web.__file__).parent / "templates"
    text = "".join(path.read_text(encoding="utf-8") for path in folder.glob("*.html"))
    used = {name for found in re.findall(r'class="([^"{]+)"', text) for name in found.split()}
    ruled = set(re.findall(r"\.([a-z][\w-]*)", STYLE))
    assert used - ruled <= {"reasons"}
    assert set(LIGHT) == set(DARK)
    heads = [int(n) for n in re.findall(r"<h(\d)", (folder / "case.html").read_text("utf-8"))]
    assert all(after - before <= 1 for before, after in pairwise(heads))

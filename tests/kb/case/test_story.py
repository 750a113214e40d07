import time

import pytest

from kb.case.story import MAX_BYTES, MAX_DEPTH, MAX_SIGNS, MAX_UNDERLINES, render_story
from kb.errors import ParseError

HOSTILE = (
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "[a](javascript:alert(1))",
    "[a](data:text/html;base64,PHNjcmlwdD4=)",
    "<iframe src='http://x'></iframe>",
    "<svg onload=alert(1)></svg>",
    "<details open ontoggle=alert(1)>x</details>",
    "<p style='position:fixed'>x</p>",
    "<style>*{display:none}</style>",
    "<a href='  javascript:alert(1)'>x</a>",
)


def test_a_story_keeps_its_paragraphs_lists_and_tables():
    html = render_story("First.\n\n- one\n- two\n\n| a | b |\n|---|--:|\n| 1 | 2 |\n")
    assert "<p>First.</p>" in html
    assert html.count("<li>") == 2
    assert '<td align="right">2</td>' in html
    assert "style=" not in html


@pytest.mark.parametrize("text", HOSTILE)
def test_nothing_that_could_run_or_load_survives(text):
    html = render_story(text).lower()
    for mark in (
        "<script",
        "onerror",
        "javascript:",
        "data:",
        "<iframe",
        "<svg",
        "ontoggle",
        "style",
    ):
        assert mark not in html


@pytest.mark.parametrize(
    "text",
    [
        "x" * (MAX_BYTES + 1), "[" * 201, "<a " * 201, "a\n=\n" * 201, "> " * 40 + "x",
        "    " * 30 + "- x", "1. " * 1000, "1. - > " * 10, "- " * 21 + "x", "\t" * 21 + "- x",
    ],
)  # fmt: skip
def test_a_text_over_the_caps_is_refused_with_what_to_do(text):
    with pytest.raises(ParseError, match="expected at most"):
        render_story(text)


@pytest.mark.parametrize(
    "text", ["1. " * 3 + "x", "- a\n    - b\n        - c", "> > x", "- " * MAX_DEPTH + "x",
             "2026-11-28 12. 1. 3.", "--- a - b", "a\n" * 3000],
)  # fmt: skip
def test_an_ordinary_text_is_within_the_caps(text):
    assert render_story(text)


ONE = MAX_SIGNS["["]
# What makes the renderer slow, each as long and as often as the caps let it through.
SLOW = {
    "open brackets": "[" * ONE + "a" * 5000,
    "open links": "[(" * ONE + "(" * 15_000,
    "far brackets": ("[" + "a" * 80) * ONE,
    "link in link": "[" * ONE + "](" * ONE,
    "titles": '[a](b "' * ONE,
    "open tags": ("<a " + "x" * 80) * ONE,
    "open comments": ("<!--" + "x" * 80) * ONE,
    "headings": ("x" * 80 + "\n=\n") * MAX_UNDERLINES,
    "emphasis": "*_" * (MAX_BYTES // 2),
    "strong": "**a" * (MAX_BYTES // 3),
    "code": "``a" * (MAX_BYTES // 3),
    "fences": "~~~\n" * (MAX_BYTES // 4),
    "lists": "- a\n" * (MAX_BYTES // 4),
    "deep": "".join("    " * level + "- a\n" for level in range(MAX_DEPTH)) * 20,
    "quotes": (">" * MAX_DEPTH + " a\n") * 800,
    "wide table": "|a" * 4000 + "|\n" + "|-" * 4000 + "|\n",
    "tall table": "|a|b|\n|-|-|\n" + "|a|b|\n" * 2700,
    "rows of lines": "|-|-|\n" * (MAX_BYTES // 6),
    "marks": "\u0301" * (MAX_BYTES // 2),
}


@pytest.mark.parametrize("name", SLOW)
def test_the_worst_text_within_the_caps_takes_two_seconds_at_most(name):
    start = time.process_time()
    render_story(SLOW[name])
    assert time.process_time() - start < 2

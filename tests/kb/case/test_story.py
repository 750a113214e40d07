import time

import pytest

from kb.case.story import MAX_BRACKETS, MAX_BYTES, render_story
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
    ["x" * (MAX_BYTES + 1), "[" * (MAX_BRACKETS + 1), "> " * 40 + "x", "    " * 30 + "- x"],
)
def test_a_text_over_the_caps_is_refused_with_what_to_do(text):
    with pytest.raises(ParseError, match="expected at most"):
        render_story(text)


def test_the_worst_allowed_text_renders_within_two_seconds():
    start = time.perf_counter()
    render_story("[" * MAX_BRACKETS + "a" * 5000)
    assert time.perf_counter() - start < 2

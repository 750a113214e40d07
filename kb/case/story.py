"""Markdown to clean HTML: capped before it is rendered, cleaned after."""

from typing import Final

import markdown
import nh3

from kb.errors import ParseError

# The renderer takes time that grows faster than the text on brackets; 300 brackets cost under a
# tenth of a second, 20,000 over a minute (measured on the library's release 3.11).
MAX_BYTES: Final = 20_000
MAX_BRACKETS: Final = 300
# Deeper nesting than this is refused before the renderer recurses into it (our choice).
_MAX_DEPTH: Final = 20

_TAGS: Final = frozenset(
    [
        "p",
        "br",
        "hr",
        "h1",
        "h2",
        "h3",
        "h4",
        "em",
        "strong",
        "code",
        "pre",
        "blockquote",
        "ul",
        "ol",
        "li",
        "a",
        "table",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
    ]
)
_ATTRIBUTES: Final = {"a": {"href", "title"}, "th": {"align"}, "td": {"align"}}
_SCHEMES: Final = frozenset({"http", "https", "mailto"})


def _refuse(text: str) -> None:
    size = len(text.encode("utf-8", "replace"))
    if size > MAX_BYTES:
        raise ParseError(f"expected at most {MAX_BYTES} bytes of text, got {size}; shorten it")
    brackets = text.count("[")
    if brackets > MAX_BRACKETS:
        raise ParseError(f"expected at most {MAX_BRACKETS} '[', got {brackets}; leave some out")
    for line in text.split("\n"):
        head = line[: len(line) - len(line.lstrip(" \t>*+-"))].replace("\t", "    ")
        if len(head) > 4 * _MAX_DEPTH or head.count(">") > _MAX_DEPTH:
            raise ParseError(
                f"expected at most {_MAX_DEPTH} levels of lists or quotes, got more; flatten it"
            )


def render_story(text: str) -> str:
    """Return the HTML of a Markdown text, without anything that could run or load.

    Raises
    ------
    ParseError
        If the text is longer, more bracketed or deeper than the caps.
    """
    _refuse(text)
    html = markdown.markdown(
        text,
        extensions=["sane_lists", "fenced_code", "tables"],
        extension_configs={"tables": {"use_align_attribute": True}},
    )
    return nh3.clean(
        html,
        tags=set(_TAGS),
        attributes={tag: set(names) for tag, names in _ATTRIBUTES.items()},
        url_schemes=set(_SCHEMES),
        clean_content_tags={"script", "style"},
    )

"""Markdown to clean HTML: capped before it is rendered, cleaned after."""

import re
from typing import Final

import markdown
import nh3

from kb.errors import ParseError

# The renderer takes time that grows faster than the text on brackets, on tags that are not closed
# and on underlined headings, and recurses into lists and quotes. Within these caps the worst texts
# that were tried took about a second of processor time, without them up to minutes (measured on the
# library's release 3.11).
MAX_BYTES: Final = 20_000
MAX_SIGNS: Final = {"[": 200, "<": 200}
MAX_UNDERLINES: Final = 200
MAX_DEPTH: Final = 20
_UNDERLINE: Final = re.compile(r"^[ \t>]*[=-]+[ \t]*$", re.MULTILINE)
# What begins a line inside of lists and quotes, and one such sign.
_HEAD: Final = re.compile(r"(?:[ \t]|>|[*+-](?=[ \t])|\d{1,9}\.(?=[ \t]))*")
_LEVEL: Final = re.compile(r"[>*+-]|\d+\.")

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
    for sign, most in MAX_SIGNS.items():
        if (found := text.count(sign)) > most:
            raise ParseError(f"expected at most {most} '{sign}', got {found}; leave some out")
    if len(_UNDERLINE.findall(text)) > MAX_UNDERLINES:
        raise ParseError(
            f"expected at most {MAX_UNDERLINES} lines of = or -, got more; leave some out"
        )
    if any(_depth(line) > MAX_DEPTH for line in text.splitlines()):
        raise ParseError(
            f"expected at most {MAX_DEPTH} levels of lists or quotes, got more; flatten it"
        )


def _depth(line: str) -> int:
    """Return how many levels of lists and quotes a line may be inside of."""
    head = _HEAD.match(line)
    text = head[0].expandtabs(4) if head else ""
    indent = len(text) - len(text.lstrip(" "))
    return len(_LEVEL.findall(text)) + indent // 4


def render_story(text: str) -> str:
    """Return the HTML of a Markdown text, without anything that could run or load.

    Raises
    ------
    ParseError
        If the text is longer, deeper or has more of some signs than the caps.
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

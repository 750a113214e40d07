"""Scan typed text for what names a customer, a car, a person of the shop or a price; blank it."""

import re
import unicodedata
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from kb.case.terms import Vocabulary
from kb.workflow.packs.patterns import NAMED, PATTERNS, TITLED, Pattern

# Stands where something was taken out: no word, so that it is read as none.
BLANK: Final = "[…]"
_PERSON: Final = "person"
# Parts of a name from 2 letters on are looked for, those shorter than this only with a capital:
# too many other words are as short (our choice).
_LEAST_NAME: Final = 3
# Names that are words of a shop too: only with a capital are they read as names (from memory).
_WORDS_TOO: Final = frozenset({
    "admin", "art", "bill", "chip", "chuck", "cliff", "dale", "dean", "dusty", "frank", "gene",
    "grant", "guy", "jack", "joy", "lance", "mark", "may", "miles", "nick", "norm", "owner",
    "pat", "penny", "pierce", "ray", "rob", "rod", "root", "rose", "rusty", "sandy", "shop",
    "skip", "sue", "user", "van", "wade", "will",
})  # fmt: skip
# Capitals that follow a word for somebody and name nobody, beside the trade's words (our choice).
_NO_NAMES: Final = frozenset({
    "a", "all", "also", "an", "and", "any", "april", "as", "at", "august", "both", "but",
    "can", "christmas", "december", "did", "does", "door", "each", "easter", "every",
    "february", "for", "friday", "from", "has", "he", "her", "his", "how", "if", "in", "is",
    "it", "its", "january", "july", "june", "left", "march", "may", "monday", "no", "none",
    "not", "november", "now", "october", "of", "off", "on", "only", "or", "our", "out",
    "right", "saturday", "september", "she", "side", "so", "sunday", "that", "the", "their",
    "then", "there", "they", "this", "thursday", "to", "tuesday", "two", "up", "was", "we",
    "wednesday", "what", "when", "where", "while", "will", "with", "yes", "you",
})  # fmt: skip


@dataclass(frozen=True, slots=True, order=True)
class Blanked:
    """One thing that was taken out: what it looks like, and what stood there."""

    kind: str
    text: str


def trade_words(words: Vocabulary) -> frozenset[str]:
    """Return every word in the names of the trade's terms, in small letters."""
    texts = [row.say for row in words.symptoms.values()]
    texts += [row.say for row in words.conditions.values()]
    texts += [f"{row.name} {row.part}" for row in words.causes.values()]
    texts += [row.name for row in words.checks.values()]
    texts += [text for row in words.groups.values() for text in (row.say, *row.also)]
    return frozenset(word for text in texts for word in re.findall(r"[^\W\d_]+", text.lower()))


class Scanner:
    """Blanks what names somebody.

    Parameters
    ----------
    words : Vocabulary
        The trade's words, which are nobody's name.
    people : iterable of str
        Names of the shop's people.
    """

    def __init__(self, words: Vocabulary, people: Iterable[str] = ()) -> None:
        self._trade = trade_words(words) | _NO_NAMES
        names = sorted({name.strip() for name in people if name.strip()})
        parts = {part for name in names for part in re.findall(r"[^\W\d_]+", name)}
        self._names = [_whole(name) for name in names if " " in name]
        self._names += [_name(part) for part in sorted(parts) if len(part) > 1]

    def blank(
        self, text: str, known: Mapping[str, Collection[str]] | None = None
    ) -> tuple[str, tuple[Blanked, ...]]:
        """Return ``text`` with all that was found taken out, and what was found, in its order.

        Parameters
        ----------
        text : str
            As typed.
        known : mapping, optional
            What must not stand in it, by kind: the car's VIN, the invoice number.
        """
        folded, places = _folded(text)
        spans: list[tuple[int, int, str]] = []
        for kind, start, end in self._found(folded, known or {}):
            if all(end <= a or b <= start for a, b, _ in spans):
                spans.append((start, end, kind))
        taken, kept, at = [], [], 0
        for start, end, kind in sorted(spans):
            first, last = places[start], places[end - 1] + 1
            taken.append(Blanked(kind, text[first:last]))
            kept += [text[at:first], BLANK]
            at = last
        return "".join([*kept, text[at:]]), tuple(taken)

    def _found(
        self, text: str, known: Mapping[str, Collection[str]]
    ) -> Iterator[tuple[str, int, int]]:
        """Yield kind, start and end of all that is found, the surest first."""
        for kind, values in known.items():
            for value in values:
                yield from ((kind, *match.span()) for match in _whole(value).finditer(text))
        for pattern in self._names:
            yield from ((_PERSON, *match.span()) for match in pattern.finditer(text))
        for row in PATTERNS:
            yield from _matches(row, text)
        yield from ((_PERSON, *match.span("it")) for match in TITLED.finditer(text))
        yield from (
            (_PERSON, *match.span("it"))
            for match in NAMED.finditer(text)
            if not {word.lower() for word in match["it"].split()} & self._trade
        )


def _matches(row: Pattern, text: str) -> Iterator[tuple[str, int, int]]:
    group = "it" if "it" in row.regex.groupindex else 0
    for match in row.regex.finditer(text):
        if row.check is None or row.check(match[group], text[match.end() : match.end() + 20]):
            yield (row.kind, *match.span(group))


def _whole(value: str) -> re.Pattern[str]:
    """Return the pattern of a known value as a word of its own; a number with any blanks in it."""
    parts = [part for part in re.split(r"[\s-]+", value) if part]
    if any(sign.isdigit() for sign in value):
        parts = list("".join(parts))
    joined = r"[\s-]*".join(map(re.escape, parts))
    return re.compile(rf"(?<!\w){joined}(?!\w)", re.IGNORECASE)


def _name(part: str) -> re.Pattern[str]:
    if part.lower() in _WORDS_TOO or len(part) < _LEAST_NAME:
        return re.compile(rf"(?<!\w)(?:{part.capitalize()}|{part.upper()})(?!\w)")
    return _whole(part)


def _folded(text: str) -> tuple[str, list[int]]:
    """Return ``text`` as it is compared, and where each of its signs stood.

    Wide and styled signs become the plain ones, unseen signs are left out, every dash is "-".
    """
    signs: list[str] = []
    places: list[int] = []
    for at, sign in enumerate(text):
        if unicodedata.category(sign) == "Cf":
            continue
        plain = "-" if unicodedata.category(sign) == "Pd" else unicodedata.normalize("NFKC", sign)
        signs += plain
        places += [at] * len(plain)
    return "".join(signs), places

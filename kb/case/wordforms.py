"""Typed text to words: what stands where, in lower case, with its stem.

Stems are cut the same way in the lexicon and in typed text, so they only have to agree with each
other; they are never shown.
"""

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

NUMBER: Final = "#"
# Each alternative starts differently, so no input makes the search go back over itself.
_WORD: Final = re.compile(
    r"(?P<ac>(?i:a/c)\b)|(?P<wo>(?i:w/o)\b)|(?P<w>(?i:w/))|(?P<arrow>->|=>|→)|(?P<at>@)"
    r"|(?P<number>\d+(?:[.,:]\d+)*)|(?P<word>[^\W\d_]+(?:['’`][^\W\d_]+)*[\d]*)"
)
_IRREGULAR: Final = {
    "dying": "di",
    "missing": "missing",
    "idling": "idl",
    "shook": "shak",
    "shaky": "shak",
    "froze": "freez",
    "frozen": "freez",
    "bled": "bleed",
    "ran": "run",
    "went": "go",
    "gone": "gone",
    "came": "com",
    "lost": "los",
    "blew": "blow",
    "blown": "blow",
    "broke": "brok",
    "broken": "brok",
    "stuck": "stuck",
    "smelt": "smell",
    "leaves": "leav",
    "news": "news",
    "lens": "lens",
    "red": "red",
    "bed": "bed",
    "ring": "ring",
    "string": "string",
    "spring": "spring",
    "during": "during",
    "nothing": "nothing",
    "something": "something",
    "everything": "everything",
    "anything": "anything",
    "morning": "morning",
    "mornings": "morning",
    "evening": "evening",
    "setting": "setting",
    "reading": "reading",
    "ceiling": "ceiling",
    "steering": "steering",
    "parking": "parking",
    "bearing": "bearing",
    "need": "need",
    "speed": "speed",
    "bleed": "bleed",
    "feed": "feed",
    "freeze": "freez",
    "used": "used",
    "heated": "heated",
    "always": "always",
    "sometimes": "sometimes",
    "gas": "gas",
    "braking": "braking",
    "braked": "braking",
    "mile": "miles",
    "miles": "miles",
    "lights": "lights",
    "floored": "floored",
    "flooring": "floored",
    "heats": "heats",
    "steam": "steam",
    "bus": "bus",
    "pulled": "pulled",
    "levels": "level",
}


@dataclass(frozen=True, slots=True)
class Word:
    """One word with its place; ``stem`` is what the lexicon is searched for."""

    text: str
    stem: str
    start: int
    end: int


@lru_cache(maxsize=50_000)
def stem(word: str) -> str:
    """Return the stem of a lower-case word.

    Examples
    --------
    >>> stem("squealing"), stem("squeals"), stem("shaking"), stem("shakes")
    ('squeal', 'squeal', 'shak', 'shak')
    """
    if word in _IRREGULAR:
        return _IRREGULAR[word]
    if len(word) <= 3 or word.endswith("ss"):
        return word
    if word.endswith("ies"):
        return word[:-3] + ("y" if len(word) > 4 else "i")
    return _cut_ending(word)


def _cut_ending(word: str) -> str:
    if word.endswith("s"):
        word = word[:-1]
        if word.endswith(("she", "che", "sse", "xe", "zze")):
            return word[:-1]
    elif word.endswith("ing") and len(word) > 5:
        word = _undouble(word[:-3])
    elif word.endswith("ed") and len(word) > 4:
        word = _undouble(word[:-2])
    return word[:-1] if word.endswith("e") and len(word) > 2 else word


def _undouble(word: str) -> str:
    if len(word) > 3 and word[-1] == word[-2] and word[-1] not in "lsz":
        return word[:-1]
    return word


def words_of(text: str) -> list[Word]:
    """Return the words of ``text``; apostrophes are left out, numbers have the stem ``#``."""
    found: list[Word] = []
    for match in _WORD.finditer(text):
        kind, start, end = match.lastgroup, match.start(), match.end()
        if kind == "word":
            plain = match.group().lower()
            for mark in "'’`":
                plain = plain.replace(mark, "")
            plain = plain.removesuffix("s") if _possessive(match.group()) else plain
            if found and found[-1].end == start and _glued(found, plain, end):
                continue
            found.append(Word(plain, stem(plain), start, end))
        elif kind == "number":
            if not _numbered(found, match.group(), end):
                found.append(Word(match.group(), NUMBER, start, end))
        else:
            plain = {"ac": "ac", "wo": "without", "w": "with", "arrow": "->", "at": "at"}[
                kind or "w"
            ]
            found.append(Word(plain, plain, start, end))
    return found


def _possessive(raw: str) -> bool:
    # "driver's" is the driver, "it's" and "that's" are words of their own.
    return raw[-2:] in {"'s", "’s"} and raw.lower()[:-2] not in {"it", "that", "there", "what"}


def _glued(found: list[Word], plain: str, end: int) -> bool:
    last = found[-1]
    joined = last.text + plain
    if joined in {"4x", "4x4", "4wd", "2wd", "12v", "1st", "2nd", "3rd", "4th"}:
        found[-1] = Word(joined, joined, last.start, end)
        return True
    return False


def _numbered(found: list[Word], digits: str, end: int) -> bool:
    # "bank 1" and "bank 2" are two places; other numbers are all one to the lexicon.
    last = found[-1] if found else None
    if last is None or last.text not in {"bank", "sensor"} or end - last.end > 3:
        return False
    joined = last.text + digits
    found[-1] = Word(joined, joined, last.start, end)
    return True

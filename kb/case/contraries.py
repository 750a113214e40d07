"""Which facts a text binds to which words, so that the same words about other facts show.

"Upper hose hot, lower hose cold" and "upper hose cold, lower hose hot" share every word. Each
clause binds its words to the ends of the axes that it names (hot or cold, left or right, works or
does not); two texts contradict each other where they bind one word to different ends of an axis.
"""

import re
import tomllib
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import product
from pathlib import Path
from typing import Final

from kb.errors import VocabularyError

_FILE: Final = Path(__file__).resolve().parents[1] / "vocabulary" / "contraries.toml"
_CLAUSE: Final = (
    r"[,;:!?\n]+|\.(?!\d)|\b(?:but|while|whereas|yet|though|although|then|except|only|and|than)\b"
)
# Clauses as they are joined, and the smaller pieces that conditions are hung on.
_SPLITS: Final = (
    re.compile(_CLAUSE),
    re.compile(_CLAUSE + r"|\b(?:with|when|at|after|before|once|until|on|in|under|from|to)\b"),
)
_SENTENCE: Final = re.compile(r"[\n;!?]+|\.(?!\d)")
_WORD: Final = re.compile(r"[a-z0-9]+(?:'[a-z]+)?")
_NEGATED: Final = re.compile(
    r"(?:no|not|none|never|nothing|nor|neither|without|cannot|zero|longer|\w+n't"
    r"|(?:do|does|did|wo|ca|is|are|was|were|has|have|had|would|could)nt)"
)
# Names of two words, of which one would else be taken for an end of an axis, or for a count.
_NAME: Final = re.compile(
    r"\b(?:(low|high)[ -](side|beams?)|(bank|cyl(?:inder)?|sensor|level|number)[ #]*(\d+))\b"
)
_PLAIN: Final = frozenset({
    "a", "an", "and", "are", "as", "at", "be", "been", "by", "for", "from", "goes", "go", "had",
    "has", "have", "her", "his", "i", "in", "is", "it", "its", "me", "my", "of", "or", "so", "still",
    "that", "the", "their", "them", "there", "they", "this", "to", "was", "we", "were", "when",
    "with", "you", "comes", "come", "gets", "get", "going", "does", "do", "did", "will", "just",
})  # fmt: skip
_ENDINGS: Final = re.compile(r"(?:ings?|ed|es|e|s|ly)$")
_LEAST_STEM: Final = 3
_NEGATION: Final = "not"
_SOUND: Final = "soundness"
# Cosine of the words of two sentences below which they are about other things, and how fast what
# they contradict fades with it. Chosen on swapped statements of our own while the demonstration
# cases, asked of each other, lost nothing.
LEAST_COSINE: Final = 0.35
COSINE_POWER: Final = 2.0
_Key = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Bound:
    """What the clauses of a text bind together.

    ``ends`` holds, for a word and an axis, the ends (0 or 1) at which the word stands; ``pairs``
    the words that stand in one clause.
    """

    ends: dict[_Key, frozenset[int]]
    pairs: dict[str, frozenset[str]]


def _stem(word: str) -> str:
    short = _ENDINGS.sub("", word.replace("'", ""))
    return short if len(short) >= _LEAST_STEM else word


@dataclass(frozen=True, slots=True)
class _End:
    """One end of an axis; ``turns`` says that a negation puts a word at the other end."""

    axis: str
    end: int
    turns: bool


@cache
def _ends() -> dict[str, tuple[_End, ...]]:
    """Return the ends at which each word stands, by its stem.

    Raises
    ------
    VocabularyError
        Where an axis has not two ends.
    """
    found: dict[str, dict[_End, None]] = {}
    for axis in tomllib.loads(_FILE.read_text("utf-8"))["axis"]:
        if len(axis["ends"]) != 2:
            raise VocabularyError(f"contraries.toml, {axis['name']}: expected two ends")
        for end, words in enumerate(axis["ends"]):
            for word in words.replace("\n", " ").split(","):
                row = _End(axis["name"], end, bool(axis.get("turns")))
                found.setdefault(_stem(word.strip()), {})[row] = None
    return {stem: tuple(rows) for stem, rows in found.items()}


def _facts(words: list[str]) -> tuple[list[str], list[tuple[str, str, int]]]:
    """Return the words of a clause, and (word, axis, end) for each that stands on an axis."""
    heads: dict[str, None] = {}
    facts: list[tuple[str, str, int]] = []
    negated = left_open = False
    for word in words:
        if _NEGATED.fullmatch(word):
            negated = left_open = True
            continue
        stem = _stem(word)
        heads.update({stem: None} if word not in _PLAIN else {})
        for row in _ends().get(stem, ()):
            facts.append((stem, row.axis, row.end ^ (negated and row.turns)))
            left_open = left_open and not row.turns
    if words and _NEGATED.fullmatch(words[-1]):  # "horn works, wipers don't"
        return list(heads), [*facts, (_NEGATION, _SOUND, 1), (_NEGATION, _NEGATION, 0)]
    return list(heads), [*facts, (_NEGATION, _NEGATION, int(left_open))]


def _bind(clauses: list[str]) -> Bound:
    ends: defaultdict[_Key, set[int]] = defaultdict(set)
    pairs: defaultdict[str, set[str]] = defaultdict(set)
    for clause in clauses:
        heads, facts = _facts(_WORD.findall(clause))
        for head in heads:
            pairs[head].update(other for other in heads if other != head)
            for source, axis, end in facts:
                if source != head:
                    ends[head, axis].add(end)
    return Bound(
        {key: frozenset(found) for key, found in ends.items()},
        {key: frozenset(found) for key, found in pairs.items()},
    )


def bind(text: str) -> tuple[Bound, ...]:
    """Return what the clauses of ``text`` bind together, and what their smaller pieces do.

    Examples
    --------
    >>> bind("lower hose cold, upper hose hot")[0].ends["lower", "warmth"]
    frozenset({1})
    """
    plain = text.lower().replace("\u2019", "'")
    said = _NAME.sub(lambda found: "".join(part for part in found.groups() if part), plain)
    return tuple(_bind(split.split(said)) for split in _SPLITS)


def contradictions(first: Sequence[Bound], second: Sequence[Bound]) -> int:
    """Return how often two texts bind one word to different facts; the same both ways.

    Counted are words at different ends of one axis, and words whose neighbour in the clause was
    exchanged for another word of both texts.
    """
    return max(_apart(a, b) + _exchanged(a, b) for a, b in zip(first, second, strict=True))


def _apart(first: Bound, second: Bound) -> int:
    shared = first.ends.keys() & second.ends.keys()
    return sum(not first.ends[key] & second.ends[key] for key in shared)


def _exchanged(first: Bound, second: Bound) -> int:
    shared = first.pairs.keys() & second.pairs.keys()
    count = 0
    for word in shared:
        here, there = first.pairs[word] & shared, second.pairs[word] & shared
        count += bool(here - there) and bool(there - here)
    return count


@lru_cache(maxsize=20_000)
def _read(sentence: str) -> tuple[frozenset[str], tuple[Bound, ...]]:
    """Return the stems of a sentence that are no small words, and what it binds."""
    words = _WORD.findall(sentence.lower())
    return frozenset(_stem(word) for word in words if word not in _PLAIN), bind(sentence)


def contrary_share(asked: str, told: str) -> float:
    """Return how far ``told`` says the contrary of ``asked``, 0 to below 1; the same both ways.

    The largest, over the sentences of both and over both whole texts, of
    ``c^2 (1 - 2^-n)``: c the cosine of the sets of words, n the number of contradictions. Texts of
    fewer than a third of their words in common do not contradict each other.
    """
    best = 0.0
    for first, second in product(_sentences(asked), _sentences(told)):
        (here, bound), (there, bound_there) = _read(first), _read(second)
        cosine = len(here & there) / (len(here) * len(there)) ** 0.5
        if cosine >= LEAST_COSINE:
            count = contradictions(bound, bound_there)
            best = max(best, cosine**COSINE_POWER * (1 - 0.5**count))
    return best


def _sentences(text: str) -> tuple[str, ...]:
    """Return a text and the sentences in it that have a word to tell."""
    parts = dict.fromkeys([text, *_SENTENCE.split(text)])
    return tuple(part for part in parts if _read(part)[0])

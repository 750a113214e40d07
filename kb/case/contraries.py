"""Which facts a text binds to which words, so that the same words about other facts show.

"Upper hose hot, lower hose cold" and "upper hose cold, lower hose hot" share every word. Each
clause binds its words to the ends of the axes that it names (hot or cold, left or right, works or
does not); two texts contradict each other where they bind one word to different ends of an axis.
"""

import re
import tomllib
from collections import defaultdict
from collections.abc import Container, Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from itertools import chain, product
from pathlib import Path
from typing import Final, NamedTuple

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
# Characters of a text beyond which it is read anew each time (our choice).
_MOST_KEPT: Final = 2_000
_Key = tuple[str, str]
# A word, an axis on which it stands, and its end.
_Fact = tuple[str, str, int]
_UNSOUND: Final = (_NEGATION, _SOUND, 1)
_DENIED: Final = ((_NEGATION, _NEGATION, 0), (_NEGATION, _NEGATION, 1))


@dataclass(frozen=True, slots=True)
class Bound:
    """What the clauses of a text bind together.

    ``ends`` holds, for a word and an axis, the ends (0 or 1) at which the word stands; ``pairs``
    the words that stand in one clause.
    """

    ends: Mapping[_Key, Set[int]]
    pairs: Mapping[str, Set[str]]


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


@dataclass(frozen=True, slots=True)
class _Clause:
    """The words of a clause that are no small words, and its facts."""

    heads: tuple[str, ...]
    facts: tuple[_Fact, ...]


class _Word(NamedTuple):
    """What one word is: ``head`` its stem where it is no small word, ``negates`` a negation.

    ``facts`` holds, for each axis on which it stands, whether a negation turns it, and where it
    stands without one and with one.
    """

    head: str | None
    negates: bool
    facts: tuple[tuple[bool, _Fact, _Fact], ...]


# The words of a shop (our choice; some 300 bytes each). Clauses share their facts.
@lru_cache(maxsize=10_000)
def _word(word: str) -> _Word:
    stem = _stem(word)
    facts = tuple(
        (row.turns, (stem, row.axis, row.end), (stem, row.axis, row.end ^ row.turns))
        for row in _ends().get(stem, ())
    )
    return _Word(None if word in _PLAIN else stem, bool(_NEGATED.fullmatch(word)), facts)


def _clause(words: list[str]) -> _Clause:
    heads: dict[str, None] = {}
    facts: list[_Fact] = []
    negated = left_open = last_negates = False
    for word in words:
        head, last_negates, stands = _word(word)
        if last_negates:
            negated = left_open = True
            continue
        if head is not None:
            heads[head] = None
        for turns, plain, turned in stands:
            facts.append(turned if negated else plain)
            left_open = left_open and not turns
    if last_negates:  # "horn works, wipers don't"
        facts += [_UNSOUND, _DENIED[0]]
    else:
        facts.append(_DENIED[left_open])
    return _Clause(tuple(heads), tuple(facts))


def _clauses(text: str) -> tuple[tuple[_Clause, ...], ...]:
    """Return the clauses of ``text`` that tell of something, and its smaller pieces that do."""
    plain = text.lower().replace("\u2019", "'")
    said = _NAME.sub(lambda found: "".join(part for part in found.groups() if part), plain)
    made = ([_clause(_WORD.findall(piece)) for piece in split.split(said)] for split in _SPLITS)
    return tuple(tuple(row for row in rows if row.heads) for rows in made)


def _bind(clauses: Iterable[_Clause], words: Container[str] | None) -> Bound:
    """Return what clauses bind together, of ``words`` alone where they are given."""
    ends: defaultdict[_Key, set[int]] = defaultdict(set)
    pairs: defaultdict[str, set[str]] = defaultdict(set)
    for clause in clauses:
        heads = [head for head in clause.heads if words is None or head in words]
        for head in heads:
            pairs[head].update(heads)
            for source, axis, end in clause.facts:
                if source != head:
                    ends[head, axis].add(end)
    for head, found in pairs.items():
        found.discard(head)
    return Bound(dict(ends), dict(pairs))


def bind(text: str) -> tuple[Bound, ...]:
    """Return what the clauses of ``text`` bind together, and what their smaller pieces do.

    Examples
    --------
    >>> bind("lower hose cold, upper hose hot")[0].ends["lower", "warmth"]
    {1}
    """
    return tuple(_bind(clauses, None) for clauses in _clauses(text))


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


@dataclass(frozen=True)
class _Sentence:
    """A sentence, or several, with the stems that are no small words."""

    text: str
    stems: frozenset[str]
    parts: tuple["_Sentence", ...] = ()

    @cached_property
    def clauses(self) -> tuple[tuple[_Clause, ...], ...]:
        """The clauses as ``_clauses`` has them; read when asked for, as most texts are not near."""
        if not self.parts:
            return _clauses(self.text)
        # Every sentence ends a clause: the clauses of a text are those of its sentences.
        rows = zip(*(part.clauses for part in self.parts), strict=True)
        return tuple(tuple(chain(*row)) for row in rows)

    def bound(self, words: Container[str] | None = None) -> tuple[Bound, ...]:
        """Return what the clauses bind together, of ``words`` alone where they are given."""
        return tuple(_bind(clauses, words) for clauses in self.clauses)


def contrary_share(asked: str, told: str) -> float:
    """Return how far ``told`` says the contrary of ``asked``, 0 to below 1; the same both ways.

    The largest, over the sentences of both and over both whole texts, of
    ``c^2 (1 - 2^-n)``: c the cosine of the sets of words, n the number of contradictions. Texts of
    fewer than a third of their words in common do not contradict each other.
    """
    best = 0.0
    for (here, bound), second in product(_asked(asked), _sentences(told)):
        there = second.stems
        if here.isdisjoint(there):
            continue
        cosine = len(here & there) / (len(here) * len(there)) ** 0.5
        if cosine >= LEAST_COSINE and (most := cosine**COSINE_POWER) > best:
            # Words that only one of them binds contradict nothing.
            count = contradictions(bound, second.bound(bound[0].pairs))
            best = max(best, most * (1 - 0.5**count))
    return best


# One question is held against many cases, and several people ask at a time (our choice).
@lru_cache(maxsize=16)
def _asked(text: str) -> tuple[tuple[frozenset[str], tuple[Bound, ...]], ...]:
    """Return the stems of a question and of its sentences, and what each binds."""
    return tuple((row.stems, row.bound()) for row in _sentences(text))


def _sentences(text: str) -> tuple[_Sentence, ...]:
    """Return a text and the sentences in it that have a word to tell."""
    return _known(text) if len(text) <= _MOST_KEPT else _read(text)


# Texts of cases that come near more than one question: some 10 MB of usual ones (our choice).
@lru_cache(maxsize=1_000)
def _known(text: str) -> tuple[_Sentence, ...]:
    return _read(text)


def _read(text: str) -> tuple[_Sentence, ...]:
    read = tuple(_Sentence(part, _stems(part)) for part in dict.fromkeys(_SENTENCE.split(text)))
    # No word goes over the end of a sentence.
    whole = _Sentence(text, frozenset().union(*(part.stems for part in read)), read)
    parts = [whole, *read] if len(read) > 1 else read
    return tuple(part for part in parts if part.stems)


def _stems(sentence: str) -> frozenset[str]:
    heads = (_word(word).head for word in _WORD.findall(sentence.lower()))
    return frozenset(head for head in heads if head is not None)

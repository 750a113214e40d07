"""The lexicon: every phrase of the vocabulary in one word trie, longest match first.

Built once per vocabulary from ``synonyms.toml`` (part names, condition spellings) and
``wording.toml`` (everyday speech by class).
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import zip_longest
from typing import Any, Final

from rapidfuzz import process
from rapidfuzz.distance import Levenshtein

from kb.case.grammar.wordforms import NUMBER, Word, stem, words_of
from kb.case.terms import Vocabulary
from kb.errors import VocabularyError

# Groups that name a complaint; the classes of wording.toml say these more finely.
_COMPLAINT_GROUPS: Final = frozenset(
    {"no_crank", "crank_no_start", "rough", "stall", "hesitation", "intermittent", "squeal"}
)
# A text with more unknown words than this is no shop line; the rest stays as typed.
_MOST_CORRECTIONS: Final = 200
KINDS: Final = (
    "function",
    "noun",
    "state",
    "action",
    "change",
    "condition",
    "position",
    "mark",
    "group",
    "word",
)
# "over 85" may be a speed or the weather.
_BARE_NUMBER: Final = re.compile(r"\w+ \d+")
# Spellings of a condition that are everyday words and mean it only beside another word.
_LOOSE: Final = frozenset(
    {"stopped", "blue", "red", "lo", "hi", "max", "trailer", "headlights", "back"}
)
_DENIALS: Final = (
    "wont doesnt dont cant cannot isnt aint arent wasnt werent didnt hasnt havent wouldnt "
    "couldnt never"
)
_NEGATORS: Final = dict.fromkeys(_DENIALS.split(), "not")
_NOT_PLAIN: Final = frozenset({*_NEGATORS, "right", "bank", "sensor"})
# "right after", "right away": no side is meant.
_RIGHT_AWAY: Final = frozenset(
    ["after", "away", "off", "behind", "now", "before", "as", "back", "up", "next"]
)

Node = dict[str, Any]
_END: Final = ""


@dataclass(frozen=True, slots=True)
class Lexeme:
    """One understood phrase: its classes as (kind, name), its words and its characters."""

    classes: tuple[tuple[str, str], ...]
    first: int
    last: int
    start: int
    end: int

    def names(self, kind: str) -> tuple[str, ...]:
        """Return the names of one kind."""
        if len(self.classes) == 1:
            # Most phrases are of one class, and each is asked for its names many times.
            ((which, name),) = self.classes
            return (name,) if which == kind else ()
        return tuple([name for which, name in self.classes if which == kind])


@dataclass(slots=True)
class Lexicon:
    """The compiled phrases; ``classes`` maps every class name to its kind."""

    trie: Node = field(default_factory=dict)
    classes: dict[str, str] = field(default_factory=dict)
    filler: frozenset[str] = frozenset()
    spelled: dict[str, str] = field(default_factory=dict)
    by_length: dict[int, list[str]] = field(default_factory=dict)
    subject_of: Mapping[str, str] = field(default_factory=dict)
    known_cache: dict[str, str] = field(default_factory=dict)
    stems: frozenset[str] = frozenset()
    left: set[str] = field(default_factory=set)
    silent: frozenset[str] = frozenset()
    empty: frozenset[str] = frozenset()
    vague: frozenset[str] = frozenset()
    told_as: Mapping[str, str] = field(default_factory=dict)

    def add(self, phrase: str, kind: str, name: str) -> None:
        """Add one phrase; words of ``filler`` inside it are left out."""
        words = phrase_words(phrase)
        stems = [stemmed for text, stemmed in words if text not in self.filler]
        if not stems or len(stems) == 1 < len(words):
            # "gun it" without "it" would be another word's meaning.
            return
        node = self.trie
        for part in stems:
            node = node.setdefault(part, {})
        found: list[tuple[str, str]] = node.setdefault(_END, [])
        if (kind, name) not in found:
            found.append((kind, name))
        self.spelled.update(words)

    def correct(self, word: Word) -> str:
        """Return the stem of ``word``, or that of the one known word it is a misspelling of."""
        text = word.text
        if not self._may_be_misspelled(text):
            return word.stem
        if text in self.known_cache:
            return self.known_cache[text]
        found = self._nearest(text) or word.stem
        if len(self.known_cache) < 20_000:
            self.known_cache[text] = found
        return found

    def _may_be_misspelled(self, text: str) -> bool:
        return 5 <= len(text) <= 24 and text not in self.spelled

    def _nearest(self, text: str) -> str | None:
        limit = 2 if len(text) >= 8 else 1
        # Slips of the finger seldom take the first letter: "wilts" is not "tilts".
        near = [
            word
            for n in range(-limit, limit + 1)
            for word in self._of_length(len(text) + n)
            if word[0] == text[0]
        ]
        found = process.extract(
            text, near, scorer=Levenshtein.distance, score_cutoff=limit, limit=6
        )
        best = min((distance for _, distance, _ in found), default=0)
        stems = {self.spelled[known] for known, distance, _ in found if distance == best}
        # Two candidates equally near may be opposites ("outlet", "inlet"): then none is taken.
        return stems.pop() if len(stems) == 1 else None

    def _of_length(self, length: int) -> list[str]:
        return self.by_length.get(length, [])

    def match(self, words: Sequence[Word]) -> list[Lexeme]:
        """Return the phrases found in ``words``, longest first, left to right."""
        kept = [n for n, word in enumerate(words) if word.text not in self.filler]
        stems = self._stems_of([words[n] for n in kept])
        found: list[Lexeme] = []
        at = 0
        while at < len(kept):
            size, classes = self.longest(stems, at)
            if size:
                first, last = kept[at], kept[at + size - 1]
                found.append(
                    Lexeme(tuple(classes), first, last, words[first].start, words[last].end)
                )
            at += size or 1
        return found

    def _stems_of(self, words: Sequence[Word]) -> list[str]:
        found: list[str] = []
        left = _MOST_CORRECTIONS
        for word in words:
            if word.stem == NUMBER or word.stem in self.stems or not left:
                found.append(word.stem)
                continue
            # Whether it was looked up before says nothing: a text is read alike every time.
            left -= self._may_be_misspelled(word.text)
            found.append(self.correct(word))
        return found

    def longest(self, stems: Sequence[str], at: int) -> tuple[int, list[tuple[str, str]]]:
        """Return the size of the longest phrase that begins at ``at``, and its classes."""
        node, best, classes = self.trie, 0, []
        for size, part in enumerate(stems[at:], start=1):
            following = node.get(part)
            if following is None:
                break
            node = following
            if _END in node:
                best, classes = size, node[_END]
        return best, classes

    def _deny(self, node: Node, path: list[str]) -> None:
        # "not working" is a phrase of its own and still denies "work".
        for part, following in node.items():
            if part != _END:
                self._deny(following, [*path, part])
            elif path:
                size, classes = self.longest(path, 0)
                if size == len(path):
                    following.extend(("denied", name) for _, name in classes)

    def finish(self) -> None:
        """Prepare the search for misspelled words, and what "not ..." phrases deny."""
        self._deny(self.trie.get("not", {}), [])
        self.stems = frozenset(self.spelled.values()) | self.left
        for word in self.spelled:
            if len(word) >= 4 and word.isalpha():
                self.by_length.setdefault(len(word), []).append(word)


def _normal_words(text: str) -> list[Word]:
    words = words_of(text)
    return [
        Word("not", "not", word.start, word.end) if word.text in _NEGATORS else word
        for word, following in zip_longest(words, words[1:])
        if not (word.text == "right" and following and following.text in _RIGHT_AWAY)
    ]


def phrase_words(phrase: str) -> list[tuple[str, str]]:
    """Return the words of a phrase of the vocabulary with their stems."""
    plain = phrase.split(" ")
    if all(word.isalpha() and word.islower() and word not in _NOT_PLAIN for word in plain):
        # Most phrases are plain words already; the search for word borders costs ten times more.
        return [(word, stem(word)) for word in plain]
    return [(word.text, word.stem) for word in _normal_words(phrase.replace("#", "0"))]


def typed_words(text: str) -> list[Word]:
    """Return the words of typed text as the lexicon has them (every plain "not" alike)."""
    return _normal_words(text)


def phrases(value: str) -> Iterator[str]:
    """Return the phrases of one comma-separated entry."""
    return (part.strip() for part in value.split(",") if part.strip())


def _group_phrases(words: Vocabulary) -> Iterator[tuple[str, str]]:
    for group in words.groups.values():
        if group.key in _COMPLAINT_GROUPS:
            continue
        for phrase in (group.say, *group.also, *group.misspelled):
            if "(" not in phrase:
                yield phrase, group.key


def _condition_phrases(words: Vocabulary) -> Iterator[tuple[str, str]]:
    for condition in words.conditions.values():
        for phrase in (condition.say, *condition.also):
            if phrase.lower() not in _LOOSE and not _BARE_NUMBER.fullmatch(phrase):
                yield phrase, condition.key


def _check_rows(rows: Mapping[str, Any], words: Vocabulary) -> None:
    for key in rows.get("condition", {}):
        if key not in words.conditions:
            raise VocabularyError(f"wording.toml, condition.{key}: expected a condition, got {key}")
    nouns = {**rows.get("noun", {}), **words.groups}
    for part, names in rows.get("told", {}).items():
        for name in phrases(names):
            if name not in rows.get("state", {}):
                raise VocabularyError(f"wording.toml, told.{part}: expected a state, got {name}")
    for state, noun in rows.get("subject_of", {}).items():
        if state not in rows.get("state", {}) or noun not in nouns:
            raise VocabularyError(
                f"wording.toml, subject_of.{state}: expected a state and a noun, got {noun}"
            )


def build_lexicon(words: Vocabulary, rows: Mapping[str, Any]) -> Lexicon:
    """Return the lexicon of a vocabulary and the rows of ``wording.toml``.

    Raises
    ------
    VocabularyError
        Where a row names a key that the vocabulary does not hold.
    """
    _check_rows(rows, words)
    lexicon = Lexicon(
        filler=frozenset(phrases(rows["filler"]["words"])),
        subject_of=rows.get("subject_of", {}),
        silent=frozenset(phrases(rows.get("told", {}).get("silent", ""))),
        empty=frozenset(phrases(rows.get("told", {}).get("empty", ""))),
        vague=frozenset(phrases(rows.get("told", {}).get("vague", ""))),
        told_as=rows.get("told_as", {}),
    )
    for phrase, key in _group_phrases(words):
        _add(lexicon, (phrase,), ("group", key))
    for phrase, key in _condition_phrases(words):
        _add(lexicon, (phrase,), ("condition", key))
    for kind in KINDS:
        for name, value in rows.get(kind, {}).items():
            _add(lexicon, phrases(value), (kind, name))
    # Known words need no correction, whatever they are near to.
    for word in phrases(rows.get("leave", {}).get("words", "")):
        lexicon.left.add(stem(word))
    lexicon.finish()
    return lexicon


def _add(lexicon: Lexicon, found: Iterable[str], kind_and_name: tuple[str, str]) -> None:
    kind, name = kind_and_name
    lexicon.classes.setdefault(name, kind)
    for phrase in found:
        lexicon.add(phrase, kind, name)

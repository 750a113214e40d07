"""Join words of the shop that mean one thing, take words out of use, list what nobody understood."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import islice
from threading import Lock
from typing import Final

from cachetools import LRUCache, cached
from rapidfuzz import fuzz, process

from kb.case.parse import parse
from kb.case.shop_rows import MERGED_KINDS, ShopTerm
from kb.case.shop_words import parts
from kb.case.terms import Vocabulary, load_vocabulary
from kb.errors import NotFoundError, TermError, VocabularyError
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.words import names_of, words_of

# Suggestions for a word, and the likeness, of 100, from which one is shown (our choice).
MOST_SUGGESTED: Final = 4
LEAST_LIKENESS: Final = 70
# Words that nobody understood: so many of the most frequent are looked at, some 30 ms the first
# time (our choice).
MOST_LOOKED_AT: Final = 240
# What was read and suggested is kept for so many words under the shop's words of that time.
_MOST_KEPT: Final = 4 * MOST_LOOKED_AT


def _term(unit: UnitOfWork, kind: str, key: str) -> ShopTerm:
    """Return the row of a term, made for one that ships.

    Raises
    ------
    NotFoundError
        If neither the shop nor the vocabulary has it.
    """
    found = unit.terms.find(kind, key)
    if found is not None:
        return found
    shipped = load_vocabulary()
    name = names_of(shipped, kind).get(key) if kind in MERGED_KINDS else None
    if name is None:
        raise NotFoundError(f"expected a {kind[:20]} of the words, got '{key[:60]}'")
    return ShopTerm(kind=kind, key=key, name=name)


def merge(unit: UnitOfWork, kind: str, key: str, *, into: str) -> None:
    """Let ``into`` stand for ``key`` everywhere; what records say stays as it was written.

    Raises
    ------
    TermError
        At the field ``into``: a circle, another kind, another unit, a shipped check or quantity.
    NotFoundError
        If one of the two is not there.
    """
    if kind not in MERGED_KINDS:
        raise TermError({"kind": f"expected one of {', '.join(MERGED_KINDS)}, got '{kind[:40]}'"})
    term = _term(unit, kind, key)
    _term(unit, kind, into)
    unit.terms.merge(term, into)
    _fits(unit, "into")


def unmerge(unit: UnitOfWork, kind: str, key: str) -> None:
    """Let a merged term stand for itself again.

    Raises
    ------
    NotFoundError
        If it stands for itself.
    """
    found = unit.terms.find(kind, key)
    if found is None or found.merged_into is None:
        raise NotFoundError(f"expected a merged {kind[:20]}, got '{key[:60]}'; look at the words")
    unit.terms.merge(found, None)
    _fits(unit, "into")


def take_out(unit: UnitOfWork, kind: str, key: str, *, back: bool = False) -> None:
    """Take a term out of use, or ``back`` into it; records that name it stay as they are.

    Raises
    ------
    TermError
        At the field ``key``, where something that is in use needs it.
    NotFoundError
        If there is no such term.
    """
    unit.terms.take_out(_term(unit, kind, key), back=back)
    _fits(unit, "key")


def _fits(unit: UnitOfWork, field: str) -> None:
    try:
        words_of(unit)
    except VocabularyError as error:
        raise TermError({field: str(error)}) from error


def case_counts(written: Mapping[str, int], kind: str, words: Vocabulary) -> dict[str, int]:
    """Return how many jobs name each term of a kind, those of merged ones at their target.

    Parameters
    ----------
    written : mapping
        How many name each term by the key that was written (``ShopTerms.counts``).
    """
    found: dict[str, int] = {}
    for key, count in written.items():
        now = words.shop.now(kind, key)
        found[now] = found.get(now, 0) + count
    return found


# --- what nobody understood ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class UnreadWord:
    """A word that nobody understood: in how many jobs it stands, and the last of them."""

    word: str
    jobs: int
    last_job: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggested:
    """What a word may mean, by its spelling."""

    means: str
    what: str
    name: str


def unread_counts(unit: UnitOfWork, words: Vocabulary) -> tuple[UnreadWord, ...]:
    """Return the words that nobody understood yet, those of most jobs first.

    What got a meaning, was set aside, or is understood by now is left out; of words that stood
    together only those that are still unclear.
    """
    jobs: dict[str, dict[str, None]] = {}
    settled = _settled(words)
    for run, found in islice(unit.terms.unread().items(), MOST_LOOKED_AT):
        for piece in _unread_in(run, words):
            if piece in settled:
                continue
            jobs.setdefault(piece, {}).update(dict.fromkeys(found))
    rows = [
        UnreadWord(word=word, jobs=len(found), last_job=max(found)) for word, found in jobs.items()
    ]
    return tuple(sorted(rows, key=lambda row: (-row.jobs, row.word)))


def pieces_of(run: str, words: Vocabulary) -> tuple[str, ...]:
    """Return what of some words that once were not understood is still to be said what it means."""
    settled = _settled(words)
    return tuple(piece for piece in _unread_in(run, words) if piece not in settled)


def _settled(words: Vocabulary) -> set[str]:
    return {row.word for row in words.shop.meanings} | words.shop.set_aside


def _by_words(typed: str, words: Vocabulary) -> tuple[str, str]:
    return typed, words.shop.mark


@cached(LRUCache(_MOST_KEPT), _by_words, Lock())
def _unread_in(run: str, words: Vocabulary) -> tuple[str, ...]:
    return tuple(row.text.lower() for row in parse(run, words=words).unread)


def known_says(words: Vocabulary) -> dict[tuple[str, str], str]:
    """Return all that a word may mean, by kind and key, in the words of a screen."""
    found = {("symptom", key): row.say for key, row in words.symptoms.items()}
    found |= {("condition", key): row.say for key, row in words.conditions.items()}
    found |= {("quantity", key): row.name for key, row in words.quantities.items()}
    found |= {("check", key): row.name for key, row in words.checks.items()}
    return found | {("part", key): say for key, say in parts(words).items()}


def suggestions(typed: Iterable[str], words: Vocabulary) -> dict[str, tuple[Suggested, ...]]:
    """Return what each of the words may mean, the nearest spelling first."""
    return {word: _suggested(word, words) for word in typed}


@cached(LRUCache(_MOST_KEPT), _by_words, Lock())
def _suggested(word: str, words: Vocabulary) -> tuple[Suggested, ...]:
    says = _spelled(words)
    near = process.extract(
        word.lower(), says, scorer=fuzz.ratio, score_cutoff=LEAST_LIKENESS, limit=12
    )
    rows = dict.fromkeys((kind, key, name) for _, _, (kind, key, name, _) in near)
    return tuple(
        Suggested(means=kind, what=key, name=name)
        for kind, key, name in list(rows)[:MOST_SUGGESTED]
    )


@cached(LRUCache(1), lambda words: words.shop.mark, Lock())
def _spelled(words: Vocabulary) -> dict[tuple[str, str, str, str], str]:
    """Return all spellings of what a word may mean, by kind, key, name and spelling."""
    return {
        (kind, key, name, spelled): spelled.lower()
        for (kind, key), name in known_says(words).items()
        for spelled in (name, *_spellings(words, kind, key))
    }


def meaning_of(typed: str, words: Vocabulary) -> tuple[str, str]:
    """Return kind and key of what was typed as a meaning; "word" where it is no name of a term."""
    said = " ".join(typed.split()).lower()
    return next(
        (pair for pair, name in known_says(words).items() if name.lower() == said),
        ("word", said),
    )


def _spellings(words: Vocabulary, kind: str, key: str) -> tuple[str, ...]:
    if kind == "quantity":
        return words.quantities[key].short
    if kind == "condition":
        return words.conditions[key].also
    if kind == "part" and key in words.groups:
        return (*words.groups[key].also, *words.groups[key].misspelled)
    return ()

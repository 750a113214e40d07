"""What the shop says about words: its own terms, what they mean, what stands for what now."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Final
from zlib import crc32

from kb.case.term_rows import CauseTerm, CheckTerm
from kb.case.units import Quantity

# The kinds of rows; "ignored" is a word that is set aside: it tells nothing.
KINDS: Final = ("cause", "check", "quantity", "synonym", "family", "ignored")
# Kinds of which one row may stand for another.
MERGED_KINDS: Final = ("cause", "check", "quantity")
# What a word of the shop may mean; "word" is another word, with whatever that one means.
MEANING_KINDS: Final = ("symptom", "condition", "quantity", "check", "part", "word")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopTerm:
    """One row as the shop keeps it; ``body`` is the rest of the term, by field.

    ``merged_into`` names the key of the same kind that stands for it now.
    """

    kind: str
    key: str
    name: str
    body: Mapping[str, Any] = field(default_factory=dict)
    merged_into: str | None = None
    who: str = ""

    @property
    def out_of_use(self) -> bool:
        """True where the term is no longer offered; records that name it stay as they are."""
        return bool(self.body.get("out"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """That ``word`` means ``key`` of a kind; ``says`` is what search reads in its place."""

    word: str
    kind: str
    key: str
    says: str

    @property
    def name(self) -> str:
        """A name for the word in the grammar: the same in every process."""
        plain = re.sub(r"[^a-z0-9]+", "_", self.word.lower())
        return f"own_{plain}_{crc32(self.word.encode('utf-8', 'replace')):08x}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Models that the shop says share a platform: (make, model) in lower case, "" for any make."""

    key: str
    name: str
    members: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class ShopWords:
    """All that the shop says about words.

    ``merged`` maps (kind, key) to the key that stands for it now; ``past_*`` are terms that records
    may name and nobody is offered; ``checks`` are keys of the shop's own checks in use; ``mark``
    names the state of all that an index is made with.
    """

    merged: Mapping[tuple[str, str], str] = field(default_factory=dict)
    past_causes: Mapping[str, CauseTerm] = field(default_factory=dict)
    past_checks: Mapping[str, CheckTerm] = field(default_factory=dict)
    past_quantities: Mapping[str, Quantity] = field(default_factory=dict)
    checks: tuple[str, ...] = ()
    meanings: tuple[Meaning, ...] = ()
    families: tuple[Family, ...] = ()
    set_aside: frozenset[str] = frozenset()
    mark: str = ""

    def now(self, kind: str, key: str) -> str:
        """Return the key that stands for ``key`` now."""
        return self.merged.get((kind, key), key)

    def meaning(self, kind: str) -> Iterator[Meaning]:
        """Yield the words that mean something of one kind."""
        return (row for row in self.meanings if row.kind == kind)

    @cached_property
    def _search(self) -> tuple[re.Pattern[str], Mapping[str, str]] | None:
        if not self.meanings:
            return None
        says = {row.word.lower(): row.says for row in self.meanings}
        longest = sorted(says, key=len, reverse=True)
        joined = "|".join(re.escape(word) for word in longest)
        return re.compile(rf"(?<!\w)(?:{joined})(?!\w)", re.IGNORECASE), says

    def in_search(self, text: str) -> str:
        """Return ``text`` with what the shop's words mean in their place: both are one word."""
        if self._search is None:
            return text
        pattern, says = self._search
        return pattern.sub(lambda found: says.get(found[0].lower(), found[0]), text)


NO_SHOP_WORDS: Final = ShopWords()

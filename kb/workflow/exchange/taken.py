"""How an export is taken in, and what became of its records."""

from collections import Counter
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from kb.store.unit_of_work import UnitOfWork
from kb.workflow.exchange.known_words import KnownWords
from kb.workflow.exchange.records import Place, Refused

# Records that are looked up and written at once; bounds memory (our choice).
BATCH: Final = 500
NOT_OVERWRITTEN: Final = "nothing was overwritten"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """How an export is taken in.

    Attributes
    ----------
    roles : collection of str
        What a person of the shop may be.
    photos_from, photos_to : Path
        Folders of photos: that of the export and that of the shop.
    dry : bool
        Reads and checks all of it and writes nothing.
    incomplete : bool
        Takes an export although records are missing from it.
    """

    roles: Collection[str]
    photos_from: Path
    photos_to: Path
    dry: bool = False
    incomplete: bool = False


@dataclass(slots=True, kw_only=True)
class Taken:
    """How many records were read, added and known before, by kind, and those refused."""

    read: Counter[str] = field(default_factory=Counter)
    added: Counter[str] = field(default_factory=Counter)
    known: Counter[str] = field(default_factory=Counter)
    refused: list[Refused] = field(default_factory=list)

    def refuse(self, place: Place, reason: str) -> None:
        """Note why a record was not taken."""
        self.refused.append(Refused(place=place, reason=reason))


@dataclass(frozen=True, slots=True, kw_only=True)
class Taking:
    """One import while it runs: where it writes, by which words and rules, what became of it."""

    unit: UnitOfWork
    words: KnownWords
    rules: Rules
    taken: Taken = field(default_factory=Taken)
    progress: Callable[[int, int], None] | None = None

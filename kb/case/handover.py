"""What a customer is told when the car leaves: dangers, what to watch, when to stop driving."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import tomli

from kb.case.term_rows import CauseTerm
from kb.case.terms import Vocabulary, load_vocabulary
from kb.errors import VocabularyError

_FILE = Path(__file__).resolve().parent.parent / "vocabulary" / "handover.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Handover:
    """Sentences in the customer's words; one with a ``danger`` makes its repair a safety repair."""

    key: str
    watch: str
    stop: str
    danger: str = ""
    systems: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()

    def concerns(self, cause: CauseTerm) -> bool:
        """Say whether this row speaks for ``cause``."""
        named = cause.key in self.causes or cause.system in self.systems
        return named or bool(set(self.cautions) & set(cause.cautions))


@dataclass(frozen=True, slots=True, kw_only=True)
class Handovers:
    """All rows in the order in which they are shown, and the sentence that ends every list."""

    rows: tuple[Handover, ...]
    leave: str


def read_handovers(text: str, words: Vocabulary) -> Handovers:
    """Return the rows of ``handover.toml``, their names checked against the vocabulary.

    Raises
    ------
    VocabularyError
        Naming the row and the name that the vocabulary lacks.
    """
    table = tomli.loads(text)
    rows = tuple(_row(row) for row in table["handover"])
    for row in rows:
        for names, known in (
            (row.systems, words.systems),
            (row.cautions, words.cautions),
            (row.causes, words.causes),
        ):
            unknown = [name for name in names if name not in known]
            if unknown:
                raise VocabularyError(
                    f"handover.toml, {row.key}: expected names of the vocabulary, "
                    f"got {', '.join(unknown)}"
                )
    return Handovers(rows=rows, leave=table["leave"])


def _row(row: Mapping[str, Any]) -> Handover:
    values: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value for name, value in row.items()
    }
    return Handover(**values)


@cache
def _shipped() -> Handovers:
    # Checked against the words as they ship: the shop may have taken some out of use.
    return read_handovers(_FILE.read_text(encoding="utf-8"), load_vocabulary())


def handovers_of(cause: str | None, words: Vocabulary) -> tuple[Handover, ...]:
    """Return what is said about a cause, rows with a danger first; none for an unknown cause."""
    known = words.known_causes.get(words.shop.now("cause", cause or ""))
    if known is None:
        return ()
    rows = [row for row in _shipped().rows if row.concerns(known)]
    return tuple(sorted(rows, key=lambda row: not row.danger))


def dangers_of(cause: str | None, words: Vocabulary) -> tuple[str, ...]:
    """Return what can happen if the repair of ``cause`` is left undone; none: no safety repair."""
    return tuple(row.danger for row in handovers_of(cause, words) if row.danger)


def leaving_words() -> str:
    """Return the sentence that every customer gets."""
    return _shipped().leave

"""What the page of words shows: the shop's own first, those that ship folded away by system."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from kb.case.shop_rows import MERGED_KINDS, ShopTerm
from kb.case.terms import Vocabulary
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.word_merges import (
    Suggested,
    UnreadWord,
    case_counts,
    suggestions,
    unread_counts,
)
from web.wording import amount

# The parts of the page, with the kind of term that each shows.
PARTS: Final = {
    "unread": ("Not understood", "ignored"),
    "causes": ("Causes", "cause"),
    "checks": ("Checks", "check"),
    "quantities": ("Quantities", "quantity"),
    "meanings": ("Meanings", "synonym"),
    "families": ("Families", "family"),
}
# Own terms, and words that nobody understood, on one page; the filter shows the others (our choice).
MOST_OWN: Final = 60
MOST_UNREAD: Final = 25
_NO_SYSTEM: Final = "Every system"
# What the quantities are read on, where the key alone is no word of the trade.
_READ_ON: Final = {
    "hvac": "Heating and air conditioning",
    "conditions": "Surroundings",
    "electrical": "Electrical and charging",
    "engine": "Engine, fuel and exhaust",
    "hybrid": "Hybrid and high voltage",
    "mechanical": "Turning and measuring parts",
    "network": "Data network",
}
_GROUPS: Final = "Parts and their other words"


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnTerm:
    """A term of the shop, with what stands for it now and the jobs that name it."""

    term: ShopTerm
    note: str
    stands_for: str | None = None
    jobs: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WordPage:
    """All that one part of the page shows; ``hidden`` own terms or words are left out."""

    part: str
    kind: str
    own: tuple[OwnTerm, ...]
    shipped: Mapping[str, tuple[tuple[str, int], ...]]
    unread: tuple[UnreadWord, ...] = ()
    suggested: Mapping[str, tuple[Suggested, ...]]
    hidden: int = 0
    total: int = 0


def word_page(unit: UnitOfWork, words: Vocabulary, part: str, *, wanted: str = "") -> WordPage:
    """Return what the part shows of the words in whose names ``wanted`` stands."""
    kind = PARTS[part][1]
    written = unit.terms.counts(kind) if kind in MERGED_KINDS else {}
    counts = case_counts(written, kind, words)
    made = [_own(row, words, written) for row in unit.terms.rows(kind)]
    own = [row for row in made if _holds(wanted, row.term.name, row.term.key, row.note)]
    waiting = [
        row
        for row in (unread_counts(unit, words) if part == "unread" else ())
        if _holds(wanted, row.word)
    ]
    shown = tuple(waiting[:MOST_UNREAD])
    return WordPage(
        part=part,
        kind=kind,
        own=tuple(own[:MOST_OWN]),
        shipped=_shipped(words, kind, wanted, counts=counts),
        unread=shown,
        suggested=suggestions([row.word for row in shown], words),
        hidden=max(0, len(own) - MOST_OWN) + len(waiting) - len(shown),
        total=len(own),
    )


def _holds(wanted: str, *texts: str) -> bool:
    said = wanted.lower().strip()
    return not said or any(said in text.lower() for text in texts)


def _own(row: ShopTerm, words: Vocabulary, written: Mapping[str, int]) -> OwnTerm:
    merged = row.merged_into is not None
    return OwnTerm(
        term=row,
        note=_note(row, words),
        stands_for=name_of(words, row.kind, words.shop.now(row.kind, row.key)) if merged else None,
        jobs=written.get(row.key, 0) if row.kind in MERGED_KINDS else None,
    )


def name_of(words: Vocabulary, kind: str, key: str) -> str:
    """Return the name of a cause, a check or a quantity."""
    if kind == "cause":
        return words.cause_name(key)
    if kind == "check":
        return words.check_name(key)
    row = words.quantity_now(key)
    return row.name if row else key.replace("_", " ")


def _note(row: ShopTerm, words: Vocabulary) -> str:
    """Return in one line what the rest of a term says."""
    if row.kind == "synonym":
        said = {each.word: each for each in words.shop.meanings}.get(row.name)
        return f"means {said.says}" if said else ""
    if row.kind == "family":
        return ", ".join(" ".join(pair).strip() for pair in row.body.get("members", ()))
    parts = [_system(str(row.body.get("system", "")), words)]
    parts += [_system(key, words) for key in row.body.get("systems", ())]
    if row.kind == "check":
        outcomes = (name.replace("_", " ") for name in row.body.get("outcomes", ()))
        parts.append(", ".join(outcomes))
    if row.kind == "quantity" and "hard" in row.body:
        low, high = row.body["hard"]
        parts.append(f"{low:g} to {amount(f'{high:g}', row.body.get('unit', ''))}")
    return "; ".join(part for part in parts if part)


def _system(key: str, words: Vocabulary) -> str:
    return words.systems[key].name if key in words.systems else ""


def _shipped(
    words: Vocabulary, kind: str, wanted: str, *, counts: Mapping[str, int]
) -> dict[str, tuple[tuple[str, int], ...]]:
    """Return names and counts of jobs of the terms that ship, by system or group."""
    grouped: dict[str, list[tuple[str, int]]] = {}
    for group, key, name in _listed(words, kind):
        if _holds(wanted, name, key):
            grouped.setdefault(group, []).append((name, counts.get(key, 0)))
    return {group: tuple(rows) for group, rows in grouped.items()}


def _listed(words: Vocabulary, kind: str) -> list[tuple[str, str, str]]:
    """Return group, key and name of each term in use."""
    found: dict[str, Iterable[tuple[str, str, str]]] = {
        "cause": ((_system(r.system, words), r.key, r.name) for r in words.causes.values()),
        "check": (
            (_system(r.systems[0], words) or _NO_SYSTEM, r.key, r.name)
            for r in words.checks.values()
        ),
        "quantity": (
            (
                _READ_ON.get(r.group, r.group.capitalize()),
                r.key,
                ", ".join(filter(None, (r.name, amount("", r.shown).strip()))),
            )
            for r in words.quantities.values()
        ),
        "synonym": (
            (_GROUPS, r.key, f"{r.say}: {', '.join(r.also)}") for r in words.groups.values()
        ),
    }
    return list(found.get(kind, ()))

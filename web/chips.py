"""A piece of a job as the page shows it: what was understood, and what one tap makes of it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any, Final

from kb.case.alternatives import (
    SYMPTOM_PLACES,
    other_concepts,
    other_conditions,
    other_quantities,
    outcomes_of,
    places_of,
    units_of,
)
from kb.case.model import (
    Change,
    Code,
    Finding,
    Polarity,
    Reading,
    ReadingSet,
    Response,
    Scan,
    Symptom,
    Tried,
)
from kb.case.terms import Vocabulary
from kb.workflow.corrections import mark_of
from web.piece_groups import Piece
from web.wording import (
    PHASES,
    amount,
    choice_words,
    finding_words,
    quantity_words,
    response_words,
    symptom_words,
)

_POLARITY: Final = {
    Polarity.YES: "It does that",
    Polarity.NO: "It does not",
    Polarity.WEAK: "A little",
    Polarity.PAST: "Earlier, not now",
}
_REPEATS: Final = (1, 2, 3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tap:
    """One button: ``what`` becomes ``value``."""

    what: str
    value: str
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Taps:
    """Buttons under one title."""

    title: str
    rows: tuple[Tap, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A field for what no button offers; ``offers`` names a list of the page."""

    what: str
    label: str
    value: str = ""
    offers: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chip:
    """One piece of a job: ``says`` is what was understood, ``typed`` the words behind it."""

    kind: str
    index: int
    seen: str
    says: str
    typed: str = ""
    taps: tuple[Taps, ...] = ()
    boxes: tuple[Box, ...] = ()

    @property
    def id(self) -> str:
        """Return the name of the chip on the page."""
        return f"{self.kind}-{self.index}"


def chip_of(piece: Piece, words: Vocabulary) -> Chip:
    """Return a piece as a chip."""
    row, index = piece.row, piece.index
    if piece.taken is not None:
        return _reading(piece.taken, row, index, words=words)
    chip = _MAKERS[piece.kind](row, index, words)
    if not piece.check:
        return chip
    return replace(chip, says=f"{words.check_name(piece.check)}: {chip.says}")


def _taps(title: str, what: str, rows: Iterable[tuple[str, str]]) -> Taps:
    return Taps(title=title, rows=tuple(Tap(what=what, value=v, label=text) for v, text in rows))


def _some(*groups: Taps) -> tuple[Taps, ...]:
    return tuple(group for group in groups if group.rows)


_OUT: Final = Taps(title="Wrong?", rows=(Tap(what="out", value="", label="Not this"),))


def _reading(group: ReadingSet, row: Reading, index: int, *, words: Vocabulary) -> Chip:
    units = [(unit, choice_words([unit])) for unit in units_of(row, words) if unit != row.unit]
    other = [(key, words.quantities[key].name) for key in other_quantities(row, words)]
    phases = [(str(key), text) for key, text in PHASES.items() if key is not group.phase]
    places = [(place, place) for place in places_of(row, words) if place != row.position]
    return Chip(
        kind="reading",
        index=index,
        seen=mark_of((group, row)),
        says=f"{_named(row, words)}: {amount(row.typed, row.unit)}",
        taps=_some(
            _taps("In another unit", "unit", units),
            _taps("It is another reading", "quantity", other),
            _taps("Taken", "phase", phases),
            _taps("At", "place", places),
            _OUT,
        ),
        boxes=(Box(what="place", label="At another place", value=row.position or ""),),
    )


def _named(row: Reading, words: Vocabulary) -> str:
    name = quantity_words(row, words)
    return f"{name} ({row.position})" if row.position else name


def _symptom(row: Symptom, index: int, words: Vocabulary) -> Chip:
    term = words.symptoms.get(row.concept or "")
    concepts = [(key, words.symptoms[key].say) for key in other_concepts(row, words)]
    polarity = [(str(key), text) for key, text in _POLARITY.items() if key is not row.polarity]
    places = [(place, place) for place in SYMPTOM_PLACES if place != row.position]
    return Chip(
        kind="symptom",
        index=index,
        seen=mark_of(row),
        says=symptom_words(row, words),
        typed=row.text if term else "",
        taps=_some(
            _taps("It is another symptom" if term else "It is", "concept", concepts),
            _taps("There or not", "polarity", polarity),
            *(_condition(key, words, denied=False) for key in row.conditions),
            *(_condition(key, words, denied=True) for key in row.not_conditions),
            _taps("At", "place", places),
            _OUT,
        ),
        boxes=(
            Box(what="concept", label="Another symptom", offers="symptom-names"),
            Box(what="when", label="It shows also", offers="condition-names"),
            Box(what="never", label="It does not show", offers="condition-names"),
            Box(what="place", label="At another place", value=row.position or ""),
        ),
    )


def _condition(key: str, words: Vocabulary, *, denied: bool) -> Taps:
    """Return the taps of one condition: the contrary, without it, or another in its place."""
    say = _say(key, words)
    turned = Tap(what="when", value=key, label=say)
    if not denied:
        turned = Tap(what="never", value=key, label=f"Not {say}")
    less = Tap(what="without", value=key, label="Nothing said of it")
    others = (
        Tap(what="instead", value=f"{key}>{other}", label=f"{_say(other, words)} instead")
        for other in other_conditions(key, words)
    )
    return Taps(title=f"Not {say}" if denied else say.capitalize(), rows=(turned, less, *others))


def _say(key: str, words: Vocabulary) -> str:
    known = words.conditions.get(key)
    return known.say if known else key.replace("_", " ")


def _finding(row: Finding, index: int, words: Vocabulary) -> Chip:
    outcomes = [(key, choice_words([key])) for key in outcomes_of(row, words) if key != row.outcome]
    repeats = [
        (str(count), "once" if count == 1 else f"{count} times")
        for count in _REPEATS
        if count != row.repeats
    ]
    minutes = "" if row.minutes is None else f"{row.minutes:g}"
    return Chip(
        kind="finding",
        index=index,
        seen=mark_of(row),
        says=finding_words(row, words),
        typed=row.note,
        taps=_some(
            _taps("It showed", "outcome", outcomes), _taps("Done", "repeats", repeats), _OUT
        ),
        boxes=(
            Box(what="subject", label="Done on", value=row.subject or ""),
            Box(what="minutes", label="Minutes that it took", value=minutes),
            Box(what="repeats", label="How often it was done", value=str(row.repeats)),
        ),
    )


def _response(row: Response, index: int, words: Vocabulary) -> Chip:
    changes = [] if row.quantity else [(str(key), str(key)) for key in Change if key != row.change]
    return Chip(
        kind="response",
        index=index,
        seen=mark_of(row),
        says=response_words(row, words),
        taps=_some(_taps("It was", "change", changes), _OUT),
    )


def _code(row: Code, index: int, words: Vocabulary) -> Chip:
    says = " ".join(part for part in (row.code, row.module, row.status) if part)
    return Chip(kind="code", index=index, seen=mark_of(row), says=says, taps=(_OUT,))


def _scan(row: Scan, index: int, words: Vocabulary) -> Chip:
    says = "Scanned, none found" if row.none_found else "Scanned"
    says += f" ({', '.join(row.modules)})" if row.modules else ""
    return Chip(kind="scan", index=index, seen=mark_of(row), says=says, taps=(_OUT,))


def _tried(row: Tried, index: int, words: Vocabulary) -> Chip:
    says = f"{row.part}: {row.text}" if row.text else row.part
    says += f", {row.cost_cents / 100:,.2f}" if row.cost_cents is not None else ""
    says += f", {row.minutes:g} min" if row.minutes is not None else ""
    return Chip(kind="tried", index=index, seen=mark_of(row), says=says, taps=(_OUT,))


_MAKERS: Final[dict[str, Callable[[Any, int, Vocabulary], Chip]]] = {
    "symptom": _symptom,
    "finding": _finding,
    "response": _response,
    "code": _code,
    "scan": _scan,
    "tried": _tried,
}

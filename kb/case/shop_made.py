"""Rows that the shop keeps to terms of the vocabulary, each reference checked."""

import math
from collections.abc import Iterable, Mapping
from typing import Any, Final

from kb.case.shop_rows import Family, ShopTerm
from kb.case.term_rows import GROUPS_OF_SYSTEM, CauseTerm, CheckTerm
from kb.case.terms import OPEN_OUTCOMES, Vocabulary
from kb.case.units import UNITS, Quantity
from kb.errors import VocabularyError

# Differences that a technician calls the same reading, of the hard limits' width (our choice).
_SAME_SHARE: Final = 0.01
# Hands-on minutes of a check whose minutes the shop did not say (our choice).
_MINUTES: Final = (5.0, 15.0)


def _fail(row: ShopTerm, expected: str, got: object) -> VocabularyError:
    return VocabularyError(
        f"the shop's {row.kind} '{row.key[:60]}': expected {expected}, got {str(got)[:60]}"
    )


def _texts(row: ShopTerm, name: str) -> tuple[str, ...]:
    value = row.body.get(name, ())
    if not isinstance(value, list | tuple) or not all(isinstance(item, str) for item in value):
        raise _fail(row, f"{name} as a list of words", value)
    return tuple(value)


def _pair(row: ShopTerm, name: str) -> tuple[float, float] | None:
    value = row.body.get(name)
    if value is None:
        return None
    numbers = value if isinstance(value, list | tuple) else ()
    if len(numbers) != 2 or not all(_is_number(item) for item in numbers):
        raise _fail(row, f"{name} as two numbers", value)
    low, high = float(numbers[0]), float(numbers[1])
    if low > high:
        raise _fail(row, f"{name} with the lower number first", f"{low:g} and {high:g}")
    return low, high


def _is_number(item: object) -> bool:
    return isinstance(item, int | float) and not isinstance(item, bool) and math.isfinite(item)


def _among(row: ShopTerm, what: str, *, got: Iterable[str], known: Iterable[str]) -> None:
    unknown = sorted(set(got) - set(known))
    if unknown:
        raise _fail(row, what, ", ".join(unknown))


def _text(row: ShopTerm, name: str, default: str = "") -> str:
    return str(row.body.get(name) or default)


def made_cause(row: ShopTerm, words: Vocabulary, hours: Mapping[str, float]) -> CauseTerm:
    """Return a cause of the shop; its access takes the median of its system's causes.

    Raises
    ------
    VocabularyError
        Naming the row and the reference that is not known.
    """
    system = _text(row, "system")
    _among(row, "a system", got=(system,), known=words.systems)
    complaints = _texts(row, "complaints")
    _among(row, "a symptom", got=complaints, known=words.symptoms)
    return CauseTerm(
        key=row.key,
        system=system,
        name=row.name,
        complaints=complaints,
        telling=_text(row, "telling"),
        prove=(),
        fix=_text(row, "fix"),
        part=_text(row, "part"),
        access_hours=hours.get(system, 1.0),
        like=(),
        expect={},
    )


def made_check(row: ShopTerm, words: Vocabulary) -> CheckTerm:
    """Return a check of the shop.

    Raises
    ------
    VocabularyError
        Naming the row and what is not known, or where it has fewer than two outcomes.
    """
    systems, outcomes = _texts(row, "systems"), _texts(row, "outcomes")
    kind, access = _text(row, "kind", "observe"), _text(row, "access", "none")
    _among(row, "a system", got=systems, known=words.systems)
    _among(row, "a kind", got=(kind,), known=words.kinds)
    _among(row, "an access", got=(access,), known=words.accesses)
    if len(set(outcomes) - {"", *OPEN_OUTCOMES}) < 2 or not systems:
        raise _fail(row, "a system and at least two outcomes of its own", ", ".join(outcomes))
    minutes = _pair(row, "minutes") or _MINUTES
    if minutes[0] <= 0:
        raise _fail(row, "minutes above 0", f"{minutes[0]:g}")
    return CheckTerm(
        key=row.key,
        name=row.name,
        systems=systems,
        kind=kind,
        isolates=_text(row, "isolates"),
        outcomes=outcomes,
        minutes=minutes,
        tools=_text(row, "tools", "none"),
        access=access,
        subject=_text(row, "subject") or None,
    )


def made_quantity(row: ShopTerm) -> Quantity:
    """Return a quantity of the shop; its limits and its band are in its own unit.

    Raises
    ------
    VocabularyError
        Naming the row, where the unit is unknown, limits are missing or the band lies outside.
    """
    unit, hard, typical = _text(row, "unit"), _pair(row, "hard"), _pair(row, "typical")
    _among(row, "a known unit", got=(unit,), known=UNITS)
    if hard is None or hard[0] == hard[1]:
        raise _fail(row, "hard limits that are apart", hard)
    if typical and not hard[0] <= typical[0] <= typical[1] <= hard[1]:
        band = f"{typical[0]:g} to {typical[1]:g}"
        raise _fail(row, f"the usual band inside {hard[0]:g} to {hard[1]:g}", band)
    kind = UNITS[unit].kind
    return Quantity(
        key=row.key,
        name=row.name,
        short=_texts(row, "short"),
        dimension=kind,
        unit=unit,
        shown=unit,
        accepted=tuple(key for key, known in UNITS.items() if known.kind == kind),
        hard=hard,
        same=_SAME_SHARE * (hard[1] - hard[0]),
        group=GROUPS_OF_SYSTEM.get(_text(row, "system"), ("conditions",))[0],
        typical=typical,
        typical_when=_text(row, "typical_when"),
        where=_text(row, "where"),
    )


def made_family(row: ShopTerm) -> Family:
    """Return a family of models.

    Raises
    ------
    VocabularyError
        Naming the row, where a member is not a make and a model.
    """
    members: list[tuple[str, str]] = []
    value: Any = row.body.get("members", ())
    for pair in value if isinstance(value, list | tuple) else (value,):
        if not isinstance(pair, list | tuple) or len(pair) != 2 or not str(pair[1]).strip():
            raise _fail(row, "a make and a model", pair)
        members.append((str(pair[0]).strip().lower(), str(pair[1]).strip().lower()))
    return Family(key=row.key, name=row.name, members=tuple(members))

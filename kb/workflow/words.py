"""The shop's own words: add causes, checks, quantities and families, say what a word means."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from kb.case.grammar.outcomes import NEGATED
from kb.case.shop_rows import ShopTerm
from kb.case.shop_words import parts, with_shop_terms
from kb.case.terms import OPEN_OUTCOMES, Vocabulary, load_vocabulary
from kb.case.units import UNITS
from kb.errors import TermError, VocabularyError
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.word_forms import key_of, numbers, plain_name, refuse_alike


def words_of(unit: UnitOfWork) -> Vocabulary:
    """Return the vocabulary with the shop's words, those written in this unit among them."""
    return with_shop_terms(load_vocabulary(), unit.terms.rows())


def add_cause(
    unit: UnitOfWork,
    name: str,
    *,
    system: str,
    part: str = "",
    complaints: Sequence[str] = (),
    sure: bool = False,
) -> str:
    """Add a cause and return its key; use ``words_of(unit)`` to close a job with it at once.

    Raises
    ------
    TermError
        At the fields ``name`` or ``system``; with ``like`` where only causes like it are in the
        way and ``sure`` was not said.
    """
    words = words_of(unit)
    name = plain_name(name)
    _refuse_unknown({"system": (system,)}, {"system": words.systems})
    _refuse_unknown({"complaints": complaints}, {"complaints": words.symptoms})
    refuse_alike(name, names_of(words, "cause"), sure=sure)
    body = {"system": system, "part": _part_key(part, words), "complaints": list(complaints)}
    return _add(unit, words, ShopTerm(kind="cause", key=key_of(name), name=name, body=body))


@dataclass(frozen=True, slots=True, kw_only=True)
class NewCheck:
    """A check as typed; ``outcomes`` is one a line or with commas between."""

    name: str
    systems: Sequence[str]
    outcomes: str
    minutes: tuple[str, str] = ("", "")
    kind: str = "observe"
    access: str = "none"
    subject: str = ""


def add_check(unit: UnitOfWork, new: NewCheck, *, sure: bool = False) -> str:
    """Add a check and return its key.

    Raises
    ------
    TermError
        At the fields ``name``, ``systems``, ``outcomes``, ``minutes_low``, ``minutes_high``,
        ``kind`` or ``access``; with ``like`` as ``add_cause``.
    """
    words = words_of(unit)
    name = plain_name(new.name)
    typed = {"systems": new.systems or ("",), "kind": (new.kind,), "access": (new.access,)}
    known = {"systems": words.systems, "kind": words.kinds, "access": words.accesses}
    _refuse_unknown(typed, known)
    minutes = numbers(*new.minutes, fields=("minutes_low", "minutes_high"))
    if minutes and minutes[0] <= 0:
        raise TermError({"minutes_low": "expected minutes above 0, got none"})
    outcomes = _outcomes(new.outcomes)
    refuse_alike(name, names_of(words, "check"), sure=sure)
    body: dict[str, Any] = {
        "systems": list(new.systems),
        "outcomes": outcomes,
        "kind": new.kind,
        "access": new.access,
        "subject": " ".join(new.subject.split())[:60],
    }
    body |= {"minutes": list(minutes)} if minutes else {}
    return _add(unit, words, ShopTerm(kind="check", key=key_of(name), name=name, body=body))


def _outcomes(typed: str) -> list[str]:
    said = [part for line in typed.splitlines() for part in line.split(",") if part.strip()]
    keys = [key_of(plain_name(part, "outcomes")) for part in said]
    own = [key for key in dict.fromkeys(keys) if key not in OPEN_OUTCOMES]
    if len(own) < 2:
        raise TermError(
            {
                "outcomes": f"expected at least two different outcomes, got {len(own)}; write one "
                "a line, 'unclear' and 'not done' are always there"
            }
        )
    return own


@dataclass(frozen=True, slots=True, kw_only=True)
class NewQuantity:
    """A quantity as typed; limits and usual band in ``unit``."""

    name: str
    system: str
    unit: str
    hard: tuple[str, str]
    typical: tuple[str, str] = ("", "")
    typical_when: str = ""
    short: str = ""


def add_quantity(unit: UnitOfWork, new: NewQuantity, *, sure: bool = False) -> str:
    """Add a quantity and return its key.

    Raises
    ------
    TermError
        At the fields ``name``, ``system``, ``unit``, ``short``, ``hard_low``, ``hard_high``,
        ``typical_low`` or ``typical_high``; with ``like`` as ``add_cause``.
    """
    words = words_of(unit)
    name = plain_name(new.name)
    typed, known = {"system": (new.system,), "unit": (new.unit,)}, {"unit": UNITS}
    _refuse_unknown(typed, {**known, "system": words.systems})
    hard = numbers(*new.hard, fields=("hard_low", "hard_high"))
    if hard is None or hard[0] == hard[1]:
        raise TermError({"hard_low": "expected the least and the most that can be, got no range"})
    typical = numbers(*new.typical, fields=("typical_low", "typical_high"))
    if typical and not hard[0] <= typical[0] <= typical[1] <= hard[1]:
        message = f"expected the usual band inside {hard[0]:g} to {hard[1]:g}, got it outside"
        raise TermError({"typical_low": message})
    short = [plain_name(part, "short").lower() for part in new.short.split(",") if part.strip()]
    refuse_alike(name, names_of(words, "quantity"), sure=sure)
    body: dict[str, Any] = {"system": new.system, "unit": new.unit, "hard": list(hard)}
    body |= {"short": short, "typical_when": " ".join(new.typical_when.split())[:200]}
    body |= {"typical": list(typical)} if typical else {}
    return _add(unit, words, ShopTerm(kind="quantity", key=key_of(name), name=name, body=body))


def add_synonym(unit: UnitOfWork, word: str, *, means: str, what: str) -> str:
    """Say what a word means: a key of the kind ``means``, or with "word" another word.

    What it meant before is replaced; a word that was set aside is understood again.

    Raises
    ------
    TermError
        At the fields ``word`` or ``what``.
    """
    words = words_of(unit)
    word = plain_name(word, "word").lower()
    _refuse_denial(word)
    what = plain_name(what, "what") if means in {"word", "part"} else what
    if means == "word":
        what = what.lower()
    if means == "part":
        what = _part_key(what, words)
    if means == "word" and what == word:
        raise TermError({"what": "expected another word, got the same one"})
    body = {"means": means, "what": what}
    term = ShopTerm(kind="synonym", key=word, name=word, body=body)
    _set_aside_again(unit, word)
    if unit.terms.find("synonym", word) is None:
        return _add(unit, words, term, at="what")
    unit.terms.change(term)
    _checked(unit, at="what")
    return word


def _refuse_denial(word: str) -> None:
    if word in NEGATED:
        raise TermError(
            {"what": f"expected a word that says something, got '{word}', which denies others"}
        )


def _set_aside_again(unit: UnitOfWork, word: str) -> None:
    known = unit.terms.find("ignored", word)
    if known is not None and not known.out_of_use:
        unit.terms.take_out(known)


def add_family(unit: UnitOfWork, name: str, members: str, *, sure: bool = False) -> str:
    """Add a family of models that share a platform; ``members`` is a make and a model a line.

    A line of one word is a model of any make. A name that is there gets these members instead.

    Raises
    ------
    TermError
        At the fields ``name`` or ``members``.
    """
    words, name = words_of(unit), plain_name(name)
    pairs = [_member(line) for line in members.splitlines() if line.strip()]
    if not pairs:
        raise TermError({"members": "expected a make and a model a line, got nothing"})
    term = ShopTerm(kind="family", key=key_of(name), name=name, body={"members": pairs})
    if unit.terms.find("family", term.key) is None:
        refuse_alike(name, {row.key: row.name for row in words.shop.families}, sure=sure)
        return _add(unit, words, term)
    unit.terms.change(term)
    _checked(unit)
    return term.key


def _member(line: str) -> list[str]:
    make, _, model = plain_name(line, "members").partition(" ")
    return [make, model] if model else ["", make]


def set_aside(unit: UnitOfWork, word: str) -> None:
    """Set a word aside: it says nothing, and is no longer asked about.

    Raises
    ------
    TermError
        At the field ``word``.
    """
    word = plain_name(word, "word").lower()
    known = unit.terms.find("ignored", word)
    if known is None:
        unit.terms.add(ShopTerm(kind="ignored", key=word, name=word))
    elif known.out_of_use:
        unit.terms.take_out(known, back=True)


# --- what is there -------------------------------------------------------------------------------


def names_of(words: Vocabulary, kind: str) -> dict[str, str]:
    """Return the names of the terms of a kind that are in use, by key."""
    rows: Mapping[str, Iterable[Any]] = {
        "cause": words.causes.values(),
        "check": words.checks.values(),
        "quantity": words.quantities.values(),
    }
    if kind not in rows:
        raise TermError({"kind": f"expected one of {', '.join(rows)}, got '{kind[:40]}'"})
    return {row.key: row.name for row in rows[kind]}


def _part_key(typed: str, words: Vocabulary) -> str:
    """Return the key of a part by its key or its name; other words become a key."""
    known = parts(words)
    said = " ".join(typed.split())[:60].lower()
    return next((key for key, say in known.items() if said in {key, say.lower()}), key_of(said))


def _refuse_unknown(
    typed: Mapping[str, Iterable[str]], known: Mapping[str, Mapping[str, Any]]
) -> None:
    wrong = {
        name: f"expected one of the list, got '{value[:40]}'" if value else "expected a choice"
        for name, values in typed.items()
        for value in values
        if value not in known[name]
    }
    if wrong:
        raise TermError(wrong)


def _add(unit: UnitOfWork, words: Vocabulary, term: ShopTerm, *, at: str = "name") -> str:
    taken = {
        "cause": words.known_causes,
        "check": words.known_checks,
        "quantity": words.known_quantities,
    }.get(term.kind, {})
    if term.key in taken or unit.terms.find(term.kind, term.key) is not None:
        message = f"expected a name that is not there yet, got '{term.name}'; take another"
        raise TermError({at: message})
    unit.terms.add(term)
    _checked(unit, at=at)
    return term.key


def _checked(unit: UnitOfWork, at: str = "name") -> None:
    """Refuse what does not fit the rest of the words; the unit is then rolled back."""
    try:
        words_of(unit)
    except VocabularyError as error:
        raise TermError({at: str(error)}) from error

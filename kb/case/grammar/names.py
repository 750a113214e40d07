"""The names of quantities, units and places as they are typed; built once from the vocabulary."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final, Generic, TypeVar

import tomli

from kb.case.grammar.built import Built
from kb.case.grammar.marks import Line, read_marks
from kb.case.terms import Vocabulary
from kb.case.units import UNITS
from kb.errors import VocabularyError

_FILE: Final = Path(__file__).resolve().parents[2] / "vocabulary" / "typing.toml"
_MAX_WORDS: Final = 6
# Marks of the longest unit ("in of water").
_MOST_UNIT: Final = 4
T = TypeVar("T")

Key = tuple[str, ...]


def key_of(text: str) -> Key:
    """Return the lower-case marks of a phrase."""
    return tuple(mark.low for mark in read_marks(text).marks)


class Phrases(Generic[T]):
    """Phrases with what they stand for; the longest one at a place wins."""

    def __init__(self) -> None:
        self._rows: dict[Key, tuple[T, ...]] = {}
        self._longest: dict[str, int] = {}

    def add(self, text: str, value: T) -> None:
        """Add ``value`` under the phrase ``text``."""
        key = key_of(text)
        if key:
            rows = self._rows.get(key, ())
            if value not in rows:
                self._rows[key] = (*rows, value)
            self._longest[key[0]] = max(self._longest.get(key[0], 0), len(key))

    def put(self, text: str, value: T) -> None:
        """Let the phrase ``text`` stand for ``value`` alone."""
        self._rows.pop(key_of(text), None)
        self.add(text, value)

    def at(self, line: Line, index: int) -> tuple[tuple[T, ...], int]:
        """Return what the longest phrase at mark ``index`` stands for, and its number of marks."""
        marks = line.marks
        if index >= len(marks) or (longest := self._longest.get(marks[index].low)) is None:
            return (), 0
        key = tuple([mark.low for mark in marks[index : index + longest]])
        for size in range(len(key), 0, -1):
            rows = self._rows.get(key[:size])
            if rows is not None:
                return rows, size
        return (), 0

    def __contains__(self, text: str) -> bool:
        return key_of(text) in self._rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Name:
    """One meaning of a typed name.

    ``weak`` names are everyday words: they need their number right beside them. ``when``,
    ``not_when`` and ``only_when`` are states; ``groups`` are the quantity groups of the line, one
    of which a ``strict`` name must see. ``follows`` are quantities, one of which must have been
    read last ("heater in 188 out 112"). ``unit`` is what the name itself says ("blower amps").
    """

    quantity: str = ""
    position: str | None = None
    pair: Key = ()
    ask: Key = ()
    weak: bool = False
    needs_unit: bool = False
    groups: Key = ()
    when: Key = ()
    not_when: Key = ()
    only_when: Key = ()
    units_only: Key = ()
    strict: bool = False
    follows: Key = ()
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A position; a numbered one ends with the number that follows."""

    position: str
    numbered: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Names:
    """All typed names, ready to be looked up."""

    words: Vocabulary
    names: Phrases[Name]
    units: Mapping[Key, tuple[str, ...]]
    cased: Mapping[Key, tuple[str, ...]]
    traps: Mapping[str, tuple[str, ...]]
    places: Phrases[Place]
    states: Phrases[str]
    phases: Phrases[str]
    modules: Phrases[str]
    statuses: Mapping[str, str]
    code_words: frozenset[str]
    no_codes: Phrases[str]
    unit_names: Mapping[str, str]
    fillers: frozenset[str]
    falls: frozenset[str]
    rises: frozenset[str]
    linkers: frozenset[str]
    stop: frozenset[str]
    scanned: frozenset[str] = field(default_factory=frozenset)

    def units_at(self, line: Line, index: int) -> tuple[tuple[str, ...], int]:
        """Return the units that the marks at ``index`` can mean, and how many marks they take."""
        marks = line.marks[index : index + _MOST_UNIT]
        exact = tuple([mark.raw for mark in marks])
        low = tuple([mark.low for mark in marks])
        for size in range(len(marks), 0, -1):
            # A trap in capitals stands for no unit at all.
            found = self.cased.get(exact[:size])
            found = self.units.get(low[:size]) if found is None else found
            if found is not None:
                return found, size
        return (), 0


def _phrases(rows: Iterable[Mapping[str, Any]], key: str) -> Phrases[str]:
    found: Phrases[str] = Phrases()
    for row in rows:
        for say in row["say"]:
            found.add(say, row[key])
    return found


def _name_table(data: Mapping[str, Any], words: Vocabulary) -> Phrases[Name]:
    table: Phrases[Name] = Phrases()
    skip = {say.lower() for say in data["not_names"]}
    own = {(key_of(say), row.get("quantity")) for row in data["name"] for say in row["say"]}
    for quantity in words.quantities.values():
        plain = Name(quantity=quantity.key)
        for say in dict.fromkeys(say.lower() for say in (*quantity.short, quantity.name)):
            bare = say.partition(" (")[0]
            listed = say in skip or bare in skip or (key_of(bare), quantity.key) in own
            if not listed:
                table.add(bare, _saying(plain, bare, words, said=data["name_units"]))
    for row in data["name"]:
        made: dict[str, Any] = {
            k: tuple(v) if isinstance(v, list) else v for k, v in row.items() if k != "say"
        }
        try:
            name = Name(**made)
        except TypeError as error:
            raise VocabularyError(f"typing.toml, {row.get('say')}: {error}") from error
        for say in dict.fromkeys(say.lower() for say in row["say"]):
            table.add(say, _saying(name, say, words, said=data["name_units"]))
    for row in words.shop.meaning("quantity"):
        # What the shop says outright wins over what the name may mean elsewhere.
        table.put(row.word, Name(quantity=row.key))
    return table


def _saying(name: Name, say: str, words: Vocabulary, *, said: Mapping[str, str]) -> Name:
    """Return the name with the unit that its last word says, if any."""
    unit = said.get(say.rsplit(" ", 1)[-1], "")
    fits = bool(name.quantity and unit in words.quantities[name.quantity].accepted)
    return replace(name, unit=unit) if fits and not name.unit else name


def _unit_tables(
    data: Mapping[str, Any], words: Vocabulary
) -> tuple[dict[Key, tuple[str, ...]], dict[Key, tuple[str, ...]]]:
    plain: dict[Key, list[str]] = {}
    cased: dict[Key, list[str]] = {}
    for table in (words.unit_words, data["units"]):
        for unit, says in table.items():
            for say in says:
                bare = say.partition(" (")[0]
                exact = tuple(mark.raw for mark in read_marks(bare).marks)
                target = plain if bare == bare.lower() else cased
                row = target.setdefault(exact, [])
                if unit not in row:
                    row.append(unit)
    # A spelling with capitals stands beside its lower-case form unless that form means another.
    for key, units in list(cased.items()):
        plain.setdefault(tuple(part.lower() for part in key), list(units))
    for trap in data["case_traps"]:
        cased.setdefault((trap,), [])
    return (
        {key: tuple(units) for key, units in plain.items()},
        {key: tuple(units) for key, units in cased.items()},
    )


def _check(data: Mapping[str, Any], words: Vocabulary) -> None:
    for row in data["name"]:
        for key in (row.get("quantity"), *row.get("pair", ())):
            if key and key not in words.quantities:
                raise VocabularyError(
                    f"typing.toml, {row['say'][0]}: expected a quantity, got {key}"
                )
    _check_rest(data, words)


def _check_rest(data: Mapping[str, Any], words: Vocabulary) -> None:
    for key in data["unit_names"].values():
        if key not in words.quantities:
            raise VocabularyError(f"typing.toml, unit_names: expected a quantity, got {key}")
    for unit in data["units"]:
        if unit not in UNITS:
            raise VocabularyError(f"typing.toml, units: expected a unit, got {unit}")
    for row in data["state"]:
        if not row.get("plain") and row["state"] not in words.conditions:
            raise VocabularyError(f"typing.toml, state: expected a condition, got {row['state']}")


def _places(rows: Iterable[Mapping[str, Any]]) -> Phrases[Place]:
    found: Phrases[Place] = Phrases()
    for row in rows:
        for say in row["say"]:
            place = Place(position=row["position"], numbered=row.get("numbered", False))
            found.add(say.removesuffix(" #") if len(say) > 2 else say, place)
    return found


def build_names(data: Mapping[str, Any], words: Vocabulary) -> Names:
    """Return the names in ``data``, checked against the vocabulary.

    Raises
    ------
    VocabularyError
        Naming the file, the key and what was expected.
    """
    try:
        _check(data, words)
        plain, cased = _unit_tables(data, words)
        return Names(
            words=words,
            names=_name_table(data, words),
            units=plain,
            cased=cased,
            traps={key: tuple(units) for key, units in data["case_traps"].items()},
            places=_places(data["position"]),
            states=_phrases(data["state"], "state"),
            phases=_phrases(data["phase"], "phase"),
            modules=_phrases(data["module"], "module"),
            statuses={say: key for key, says in data["statuses"].items() for say in says},
            code_words=frozenset(data["codes"]["words"]),
            no_codes=_phrases([{"say": data["codes"]["none"], "none": "none"}], "none"),
            scanned=frozenset(data["codes"]["scanned"]),
            unit_names=data["unit_names"],
            **{key: frozenset(data[key]) for key in ("fillers", "falls", "rises", "linkers")},
            stop=frozenset(data["stop"]["words"]) | words.shop.set_aside,
        )
    except KeyError as error:
        raise VocabularyError(f"typing.toml: expected the key {error}, got none") from error


def _build(words: Vocabulary) -> Names:
    return build_names(tomli.loads(_FILE.read_text(encoding="utf-8")), words)


_BUILT: Final = Built(_build)


def names_for(words: Vocabulary | None = None) -> Names:
    """Return the typed names for ``words``, built once."""
    return _BUILT.of(words)

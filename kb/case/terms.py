"""The trade's words, read once from ``kb/vocabulary/*.toml`` and checked against each other."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

import tomli

from kb.case.shop_rows import NO_SHOP_WORDS, ShopWords
from kb.case.term_rows import (
    Ambiguous,
    Baseline,
    BaselineReading,
    CauseTerm,
    Caution,
    CheckTerm,
    ConditionTerm,
    DerivedTerm,
    Named,
    Negation,
    Opposite,
    Phrase,
    SymptomTerm,
    SynonymGroup,
)
from kb.case.units import UNITS, Quantity
from kb.errors import UnknownTermError, VocabularyError

_FOLDER = Path(__file__).resolve().parent.parent / "vocabulary"
# Every check accepts these two beside its own outcomes.
OPEN_OUTCOMES = ("unclear", "not_done")
_LEVELS = ("stop", "care", "note")
_ENGINE_SPEED = re.compile(r"[1-9][0-9]{2,3} rpm")

Row = Mapping[str, Any]
T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Vocabulary:
    """All the words, by key."""

    systems: Mapping[str, Named]
    kinds: Mapping[str, Named]
    accesses: Mapping[str, Named]
    responses: Mapping[str, Named]
    proof_methods: Mapping[str, Named]
    after_checks: Mapping[str, Named]
    job_ends: Mapping[str, Named]
    checks: Mapping[str, CheckTerm]
    causes: Mapping[str, CauseTerm]
    symptoms: Mapping[str, SymptomTerm]
    conditions: Mapping[str, ConditionTerm]
    groups: Mapping[str, SynonymGroup]
    opposites: tuple[Opposite, ...]
    negations: tuple[Negation, ...]
    ambiguous: Mapping[str, Ambiguous]
    phrases: tuple[Phrase, ...]
    quantities: Mapping[str, Quantity]
    unit_words: Mapping[str, tuple[str, ...]]
    cautions: Mapping[str, Caution]
    caution_footer: str
    derived: Mapping[str, DerivedTerm]
    baselines: Mapping[str, Baseline]
    shop: ShopWords = NO_SHOP_WORDS

    @property
    def known_checks(self) -> Mapping[str, CheckTerm]:
        """The checks that a record may name: those in use, and those that were."""
        return {**self.shop.past_checks, **self.checks} if self.shop.past_checks else self.checks

    @property
    def known_causes(self) -> Mapping[str, CauseTerm]:
        """The causes that a record may name: those in use, and those that were."""
        return {**self.shop.past_causes, **self.causes} if self.shop.past_causes else self.causes

    @property
    def known_quantities(self) -> Mapping[str, Quantity]:
        """The quantities that a record may name: those in use, and those that were."""
        past = self.shop.past_quantities
        return {**past, **self.quantities} if past else self.quantities

    def check(self, key: str) -> CheckTerm:
        """Return the check ``key``; raise UnknownTermError where there is none."""
        return _look_up(self.known_checks, key, "a check")

    def cause(self, key: str) -> CauseTerm:
        """Return the cause ``key``; raise UnknownTermError where there is none."""
        return _look_up(self.known_causes, key, "a cause")

    def quantity(self, key: str) -> Quantity:
        """Return the quantity ``key``; raise UnknownTermError where there is none."""
        return _look_up(self.known_quantities, key, "a quantity")

    def cause_name(self, key: str | None) -> str:
        """Return the words for a cause as it is called now, or the key where nobody knows it."""
        if key is None:
            return "something else"
        row = self.known_causes.get(self.shop.now("cause", key))
        return row.name if row else key.replace("_", " ")

    def check_name(self, key: str) -> str:
        """Return the words for a check as it is called now, or the key where nobody knows it."""
        row = self.known_checks.get(self.shop.now("check", key))
        return row.name if row else key.replace("_", " ")

    def quantity_now(self, key: str) -> Quantity | None:
        """Return the quantity that a record's ``key`` stands for now, None where nobody knows it."""
        return self.known_quantities.get(self.shop.now("quantity", key))


def _look_up(rows: Mapping[str, T], key: str, what: str) -> T:
    try:
        return rows[key]
    except KeyError:
        near = [known for known in rows if known.partition("_")[0] == key.partition("_")[0]][:5]
        hint = f"; near it: {', '.join(near)}" if near else ""
        raise UnknownTermError(f"expected {what} of the vocabulary, got '{key}'{hint}") from None


def _tuples(row: Row) -> dict[str, Any]:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in row.items()}


def _rows(kind: type[T], rows: Iterable[Row]) -> dict[str, T]:
    names = frozenset(kind.__slots__)  # type: ignore[attr-defined]
    return {
        row["key"]: kind(**{k: v for k, v in _tuples(row).items() if k in names}) for row in rows
    }


def _named(rows: Iterable[Row]) -> dict[str, Named]:
    return {
        row["key"]: Named(
            key=row["key"],
            name=row.get("name") or row["meaning"],
            strength=row.get("strength", 0),
        )
        for row in rows
    }


def _baselines(rows: Iterable[Row]) -> dict[str, Baseline]:
    made = {}
    for row in rows:
        lists = {
            name: tuple(BaselineReading(**_tuples(reading)) for reading in row.get(name, ()))
            for name in ("always", "pointed")
        }
        made[row["system"]] = Baseline(**(_tuples(row) | lists))
    return made


def _read(folder: Path, name: str) -> dict[str, Any]:
    path = folder / f"{name}.toml"
    try:
        return tomli.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise VocabularyError(f"{path.name}: expected the file, got none; reinstall") from None
    except tomli.TOMLDecodeError as error:
        raise VocabularyError(f"{path.name}: expected TOML, got {error}") from error


def _build(folder: Path) -> Vocabulary:
    checks, causes = _read(folder, "checks"), _read(folder, "causes")
    words, quantities = _read(folder, "synonyms"), _read(folder, "quantities")
    cautions, derived = _read(folder, "cautions"), _read(folder, "derived")
    return Vocabulary(
        systems=_named(checks["system"]),
        kinds=_named(checks["kind"]),
        accesses=_named(checks["access"]),
        responses=_named(checks["response"]),
        proof_methods=_named(checks["verification"]),
        after_checks=_named(checks["proof_after_repair"]),
        job_ends=_named(checks["job_outcome"]),
        checks=_rows(CheckTerm, checks["check"]),
        causes=_rows(CauseTerm, causes["cause"]),
        symptoms=_rows(SymptomTerm, words["symptom"]),
        conditions=_rows(ConditionTerm, words["condition"]),
        groups=_rows(SynonymGroup, words["group"]),
        opposites=tuple(Opposite(**row) for row in words["opposite"]),
        negations=tuple(Negation(**row) for row in words["negation"]),
        ambiguous={row["word"]: Ambiguous(**_tuples(row)) for row in words["ambiguous"]},
        phrases=tuple(Phrase(**_tuples(row)) for row in words["phrase"]),
        quantities=_rows(Quantity, quantities["quantity"]),
        unit_words={key: tuple(value) for key, value in quantities["unit_words"].items()},
        cautions=_rows(Caution, cautions["caution"]),
        caution_footer=cautions["footer"],
        derived=_rows(DerivedTerm, derived["derived"]),
        baselines=_baselines(_read(folder, "baseline")["baseline"]),
    )


def _expect(file: str, key: str, what: str, *, got: Iterable[str], known: Iterable[str]) -> None:
    unknown = sorted(set(got) - set(known))
    if unknown:
        raise VocabularyError(f"{file}.toml, {key}: expected {what}, got {', '.join(unknown)}")


def _check_quantities(words: Vocabulary) -> None:
    for row in words.quantities.values():
        _expect("quantities", row.key, "known units", got=(*row.accepted, row.unit), known=UNITS)
        low, high = row.hard
        if row.typical and not low <= row.typical[0] <= row.typical[1] <= high:
            raise VocabularyError(
                f"quantities.toml, {row.key}: expected the usual band inside {low:g} to {high:g}, "
                f"got {row.typical[0]:g} to {row.typical[1]:g}"
            )


def _check_checks(words: Vocabulary) -> None:
    systems = {*words.systems, "all"}
    for row in words.checks.values():
        _expect("checks", row.key, "a system", got=row.systems, known=systems)
        _expect("checks", row.key, "a kind", got=(row.kind,), known=words.kinds)
        _expect("checks", row.key, "an access", got=(row.access,), known=words.accesses)
        _expect("checks", row.key, "a caution", got=row.cautions, known=words.cautions)
        _expect("checks", row.key, "a quantity", got=row.reads, known=words.quantities)


def _check_causes(words: Vocabulary) -> None:
    for row in words.causes.values():
        _expect("causes", row.key, "a system", got=(row.system,), known=words.systems)
        _expect("causes", row.key, "a symptom", got=row.complaints, known=words.symptoms)
        _expect("causes", row.key, "a check", got=(*row.prove, *row.expect), known=words.checks)
        _expect("causes", row.key, "a cause", got=row.like, known=words.causes)
        _expect("causes", row.key, "a caution", got=row.cautions, known=words.cautions)
        for check, outcome in row.expect.items():
            known = (*words.checks[check].outcomes, *OPEN_OUTCOMES)
            _expect(
                "causes", f"{row.key}.expect.{check}", "an outcome", got=(outcome,), known=known
            )


def _check_words(words: Vocabulary) -> None:
    for row in words.conditions.values():
        _expect("synonyms", row.key, "a condition", got=row.opposite, known=words.conditions)
    for symptom in words.symptoms.values():
        _expect("synonyms", symptom.key, "a system", got=(symptom.system,), known=words.systems)
    for phrase in words.phrases:
        _expect("synonyms", phrase.text, "a symptom", got=(phrase.symptom,), known=words.symptoms)
        _expect(
            "synonyms", phrase.text, "a condition", got=phrase.conditions, known=words.conditions
        )
    for caution in words.cautions.values():
        _expect("cautions", caution.key, "a level", got=(caution.level,), known=_LEVELS)
        _expect("cautions", caution.key, "a check", got=caution.checks, known=words.checks)


def _check_baselines(words: Vocabulary) -> None:
    for row in words.baselines.values():
        _expect("baseline", row.system, "a system", got=(row.system,), known=words.systems)
        wanted = [reading.quantity for reading in row.readings]
        _expect("baseline", row.system, "a quantity", got=wanted, known=words.quantities)
        states = [key for key in row.conditions if not _ENGINE_SPEED.fullmatch(key)]
        _expect(
            "baseline",
            row.system,
            "a condition or a speed like '2500 rpm'",
            got=states,
            known=words.conditions,
        )
        if len(set(wanted)) < len(wanted):
            raise VocabularyError(
                f"baseline.toml, {row.system}: expected each quantity once, got one twice"
            )


def read_vocabulary(folder: Path) -> Vocabulary:
    """Return the vocabulary in ``folder``, its cross-references checked.

    Raises
    ------
    VocabularyError
        Naming the file, the key and what was expected.
    """
    try:
        words = _build(folder)
    except KeyError as error:
        raise VocabularyError(f"vocabulary: expected the key {error}, got none") from error
    except TypeError as error:
        raise VocabularyError(
            f"vocabulary: a row misses a key or has one too many: {error}"
        ) from error
    for check in _CHECKS:
        check(words)
    return words


_CHECKS = (_check_quantities, _check_checks, _check_causes, _check_words, _check_baselines)


@cache
def load_vocabulary() -> Vocabulary:
    """Return the vocabulary that ships with Baybook; read once per process."""
    return read_vocabulary(_FOLDER)

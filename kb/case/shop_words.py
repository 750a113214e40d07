"""The vocabulary with what the shop added, merged and took out of use laid over it."""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from statistics import median
from typing import Any, TypeVar

from kb.case.shop_made import made_cause, made_check, made_family, made_quantity
from kb.case.shop_rows import KINDS, MERGED_KINDS, Meaning, ShopTerm, ShopWords
from kb.case.term_rows import CauseTerm, CheckTerm, SynonymGroup
from kb.case.terms import Vocabulary
from kb.case.units import Quantity
from kb.errors import VocabularyError

T = TypeVar("T", CauseTerm, CheckTerm, Quantity)
Rows = Mapping[str, Sequence[ShopTerm]]


def with_shop_terms(words: Vocabulary, rows: Iterable[ShopTerm]) -> Vocabulary:
    """Return ``words`` with the shop's rows laid over them; without rows, ``words`` itself.

    Parameters
    ----------
    words : Vocabulary
        The words that ship.
    rows : iterable of ShopTerm
        All rows of the shop, in any order.

    Raises
    ------
    VocabularyError
        Naming the row, what was expected and what was got: an unknown reference, a chain of
        merges that leads back to itself, a shipped check or quantity that is to be merged away.
    """
    by_kind: dict[str, list[ShopTerm]] = {kind: [] for kind in KINDS}
    for row in sorted(rows, key=lambda row: (row.kind, row.key)):
        if row.kind not in by_kind:
            raise _error(row, f"a kind out of {', '.join(KINDS)}", row.kind)
        by_kind[row.kind].append(row)
    if not any(by_kind.values()):
        return words
    hours = {
        system: median(row.access_hours for row in words.causes.values() if row.system == system)
        for system in {row.system for row in words.causes.values()}
    }
    causes = {row.key: made_cause(row, words, hours) for row in _added(by_kind, words.causes)}
    checks = {row.key: made_check(row, words) for row in _added(by_kind, words.checks, "check")}
    read = {r.key: made_quantity(r) for r in _added(by_kind, words.quantities, "quantity")}
    whole = replace(
        words,
        causes={**words.causes, **causes},
        checks={**words.checks, **checks},
        quantities={**words.quantities, **read},
    )
    return _with_meanings(_without_past(whole, words, by_kind), by_kind, tuple(checks))


def _error(row: ShopTerm, expected: str, got: str) -> VocabularyError:
    return VocabularyError(
        f"the shop's {row.kind} '{row.key[:60]}': expected {expected}, got {got[:60]}"
    )


def _added(by_kind: Rows, shipped: Mapping[str, Any], kind: str = "cause") -> list[ShopTerm]:
    return [row for row in by_kind[kind] if row.key not in shipped]


# --- merged and taken out of use -----------------------------------------------------------------


def _table(words: Vocabulary, kind: str) -> Mapping[str, Any]:
    return {"cause": words.causes, "check": words.checks, "quantity": words.quantities}[kind]


def _merged(whole: Vocabulary, shipped: Vocabulary, by_kind: Rows) -> dict[tuple[str, str], str]:
    """Return which key stands for each merged one, chains followed to their end."""
    found: dict[tuple[str, str], str] = {}
    for kind in MERGED_KINDS:
        steps = {row.key: row for row in by_kind[kind] if row.merged_into is not None}
        for key, row in steps.items():
            _refuse_merge(row, whole, shipped)
            seen, at = {key}, row.merged_into or ""
            while at in steps:
                if at in seen:
                    raise _error(row, "a merge that ends at another one", f"a circle over {at}")
                seen.add(at)
                at = steps[at].merged_into or ""
            found[kind, key] = at
    return found


def _refuse_merge(row: ShopTerm, whole: Vocabulary, shipped: Vocabulary) -> None:
    rows, target = _table(whole, row.kind), row.merged_into or ""
    if target not in rows or target == row.key:
        raise _error(row, f"another {row.kind} to stand for it", target or "nothing")
    if row.kind != "cause" and row.key in _table(shipped, row.kind):
        raise _error(row, f"a {row.kind} that the shop added itself", "one that ships")
    if row.kind == "quantity" and rows[row.key].unit != rows[target].unit:
        units = f"{rows[row.key].unit} and {rows[target].unit}"
        raise _error(row, "two quantities kept in one unit", units)


def _without_past(whole: Vocabulary, shipped: Vocabulary, by_kind: Rows) -> Vocabulary:
    merged = _merged(whole, shipped, by_kind)
    gone = dict.fromkeys(merged)
    for kind in MERGED_KINDS:
        for row in by_kind[kind]:
            if row.out_of_use and kind != "cause" and row.key in _table(shipped, kind):
                raise _error(row, f"a {kind} that the shop added itself", "one that ships")
        gone |= dict.fromkeys((kind, row.key) for row in by_kind[kind] if row.out_of_use)
    causes, past_causes = _split(whole.causes, {k for kind, k in gone if kind == "cause"})
    checks, past_checks = _split(whole.checks, {k for kind, k in gone if kind == "check"})
    read, past_read = _split(whole.quantities, {k for kind, k in gone if kind == "quantity"})
    shop = ShopWords(
        merged=merged,
        past_causes=past_causes,
        past_checks=past_checks,
        past_quantities=past_read,
        mark=_mark(by_kind),
    )
    known = replace(whole, causes=causes, checks=checks, quantities=read, shop=shop)
    if not gone:
        return known
    return replace(
        known,
        causes={key: _cause_now(row, known) for key, row in causes.items()},
        checks={key: _check_now(row, known) for key, row in checks.items()},
    )


def _split(rows: Mapping[str, T], gone: set[str]) -> tuple[dict[str, T], dict[str, T]]:
    kept = {key: row for key, row in rows.items() if key not in gone}
    return kept, {key: row for key, row in rows.items() if key in gone}


def _mark(by_kind: Rows) -> str:
    """Return a name for the state of all rows that an index is made with."""
    rows = [
        [row.kind, row.key, row.name, dict(row.body), row.merged_into]
        for kind, group in by_kind.items()
        if kind != "ignored"
        for row in group
    ]
    text = json.dumps(rows, sort_keys=True)
    return hashlib.blake2b(text.encode(), digest_size=16).hexdigest() if rows else ""


def _keys_now(keys: Iterable[str], kind: str, words: Vocabulary) -> tuple[str, ...]:
    rows = _table(words, kind)
    found = dict.fromkeys(words.shop.now(kind, key) for key in keys)
    return tuple(key for key in found if key in rows)


def _cause_now(row: CauseTerm, words: Vocabulary) -> CauseTerm:
    """Return a cause whose references are to terms in use; an outcome must be the check's own."""
    expect: dict[str, str] = {}
    for key, outcome in row.expect.items():
        check = words.checks.get(words.shop.now("check", key))
        if check is not None and outcome in check.outcomes:
            expect.setdefault(check.key, outcome)
    like = tuple(key for key in _keys_now(row.like, "cause", words) if key != row.key)
    return replace(row, like=like, prove=_keys_now(row.prove, "check", words), expect=expect)


def _check_now(row: CheckTerm, words: Vocabulary) -> CheckTerm:
    return replace(row, reads=_keys_now(row.reads, "quantity", words))


# --- what words mean -----------------------------------------------------------------------------


def _with_meanings(words: Vocabulary, by_kind: Rows, checks: Sequence[str]) -> Vocabulary:
    used = [row for row in by_kind["synonym"] if not row.out_of_use]
    meanings = tuple(_meaning(row, words) for row in used)
    groups = dict(words.groups)
    for row in meanings:
        if row.kind == "part":
            group = groups.get(row.key) or SynonymGroup(key=row.key, say=row.says)
            groups[row.key] = replace(group, also=(*group.also, row.word))
    shop = replace(
        words.shop,
        checks=tuple(key for key in checks if key in words.checks),
        meanings=meanings,
        families=tuple(made_family(row) for row in by_kind["family"] if not row.out_of_use),
        set_aside=frozenset(row.key for row in by_kind["ignored"] if not row.out_of_use),
    )
    return replace(words, groups=groups, shop=shop)


def _meaning(row: ShopTerm, words: Vocabulary) -> Meaning:
    kind, key = str(row.body.get("means", "")), str(row.body.get("what", ""))
    key = words.shop.now(kind, key)
    says = _says(kind, key, words)
    if not says:
        raise _error(row, "something that the vocabulary knows", f"{kind or 'no kind'} '{key}'")
    return Meaning(word=row.name, kind=kind, key=key, says=says)


def _says(kind: str, key: str, words: Vocabulary) -> str:
    """Return the words that a meaning is searched as, "" where nobody knows it."""
    known: dict[str, Mapping[str, str]] = {
        "symptom": {name: row.say for name, row in words.symptoms.items()},
        "condition": {name: row.say for name, row in words.conditions.items()},
        "quantity": {name: row.name for name, row in words.quantities.items()},
        "check": {name: row.name for name, row in words.checks.items()},
        "part": parts(words),
        "word": {key: key},
    }
    return known.get(kind, {}).get(key, "").partition(" (")[0].strip().lower()


def parts(words: Vocabulary) -> dict[str, str]:
    """Return the parts that causes lie in and those that the trade has words for, by key."""
    found = {row.part: row.part.replace("_", " ") for row in words.causes.values() if row.part}
    return found | {key: row.say for key, row in words.groups.items()}

"""Checks done, what they showed, and parts tried, read from the words of ``actions.toml``."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import tomli

from kb.case.grammar.built import Built
from kb.case.grammar.marks import Line, read_marks
from kb.case.grammar.own_words import own_actions
from kb.case.grammar.wordforms import stem
from kb.case.model import Change
from kb.case.terms import OPEN_OUTCOMES, Vocabulary
from kb.errors import VocabularyError

_FILE: Final = Path(__file__).resolve().parents[2] / "vocabulary" / "actions.toml"
_GAP: Final = 2
_PLACING: Final = frozenset({"at", "near", "from", "behind", "by"})
_NEGATIONS: Final = frozenset({"no", "not", "without", "never", "didnt", "doesnt", "wont", "isnt"})
_MOVES: Final = frozenset({"falls", "rises", "same"})

Key = tuple[str, ...]


def stem_of(low: str) -> str:
    """Return the form in which a typed word is compared."""
    return stem(low.replace("'", "").replace("’", ""))


def stems_of(text: str) -> Key:
    """Return the words of a phrase in the form in which they are compared."""
    return tuple(stem_of(mark.low) for mark in read_marks(text).marks)


class PhraseSet:
    """Phrases by their first word; words in order, few others between them."""

    def __init__(self) -> None:
        self._rows: dict[str, list[tuple[Key, int]]] = {}

    def add(self, phrase: str, value: int) -> None:
        """Add a phrase that stands for ``value``."""
        key = stems_of(phrase)
        if key and (key, value) not in self._rows.setdefault(key[0], []):
            self._rows[key[0]].append((key, value))

    def at(
        self, stems: Sequence[str], index: int, *, stop: int, gap: int = _GAP
    ) -> list[tuple[int, int, int]]:
        """Return ``(value, stop, words)`` of every phrase that begins at ``index``."""
        found = []
        for key, value in self._rows.get(stems[index], ()):
            end = _match(stems, index, key=key, stop=stop, gap=gap)
            if end:
                found.append((value, end, len(key)))
        return found


def _match(stems: Sequence[str], index: int, *, key: Key, stop: int, gap: int) -> int:
    """Return where the words of ``key`` end when they begin at ``index``, 0 if they do not."""
    at = index + 1
    for word in key[1:]:
        limit = min(at + gap + 1, stop)
        while at < limit and stems[at] != word:
            at += 1
        if at >= limit:
            return 0
        at += 1
    return at


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """How one check is typed; ``moves`` says what the numbers do under an outcome."""

    check: str
    outcomes: tuple[tuple[Key, str], ...] = ()
    changes: Mapping[Change, str] = field(default_factory=dict)
    moves: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Actions:
    """All actions, with the words of change, and of parts tried."""

    rows: tuple[Action, ...]
    phrases: PhraseSet
    change: PhraseSet
    not_done: PhraseSet
    tried_verbs: PhraseSet
    tried_new: PhraseSet
    tried_same: PhraseSet


CHANGES: Final = tuple(Change)


def _set(phrases: Iterable[str]) -> PhraseSet:
    made = PhraseSet()
    for phrase in phrases:
        made.add(phrase, 0)
    return made


def _changes(check: str, data: Mapping[str, Any], words: Vocabulary) -> dict[Change, str]:
    outcomes = words.checks[check].outcomes
    found: dict[Change, str] = {}
    for change, wanted in data["change_outcomes"].items():
        fitting = next((key for key in wanted if key in outcomes), None)
        if fitting:
            found[Change(change)] = fitting
    return found


def _action(row: Mapping[str, Any], data: Mapping[str, Any], words: Vocabulary) -> Action:
    check = row["check"]
    if check not in words.checks:
        raise VocabularyError(f"actions.toml, {check}: expected a check of checks.toml")
    known = (*words.checks[check].outcomes, *OPEN_OUTCOMES)
    moves = row.get("moves", {})
    own = {Change(key): outcome for key, outcome in row.get("changes", {}).items()}
    for outcome in (*row.get("outcome", {}), *moves, *own.values()):
        if outcome not in known:
            raise VocabularyError(
                f"actions.toml, {check}: expected one of {', '.join(known)}, got '{outcome}'"
            )
    for quantity, move in (pair for rows in moves.values() for pair in rows.items()):
        if quantity not in words.quantities or move not in _MOVES:
            raise VocabularyError(
                f"actions.toml, {check}: expected a quantity that falls, rises or stays the same, "
                f"got {quantity} = {move}"
            )
    outcomes = [
        (stems_of(phrase), outcome)
        for outcome, phrases in row.get("outcome", {}).items()
        for phrase in phrases
    ]
    # More words say more: "no leak" before "leak".
    outcomes.sort(key=lambda pair: -len(pair[0]))
    return Action(
        check=check, outcomes=tuple(outcomes), moves=moves,
        changes={**_changes(check, data, words), **own},
    )  # fmt: skip


def _spoken(row: Mapping[str, Any]) -> Iterable[str]:
    yield from row.get("say", ())
    for verb in row.get("verbs", ()):
        for thing in row.get("objects", ()):
            yield f"{verb} {thing}"
            yield f"{thing} {verb}"


def build_actions(data: Mapping[str, Any], words: Vocabulary) -> Actions:
    """Return the actions in ``data``, checked against the vocabulary.

    Raises
    ------
    VocabularyError
        Naming the file, the check and what was expected.
    """
    try:
        rows = tuple(_action(row, data, words) for row in data["action"])
        phrases, change = PhraseSet(), PhraseSet()
        for index, row in enumerate(data["action"]):
            for phrase in _spoken(row):
                phrases.add(phrase, index)
        for index, key in enumerate(CHANGES):
            for phrase in data["change"][key.value]:
                change.add(phrase, index)
        tried = data["tried"]
        return Actions(
            rows=rows,
            phrases=phrases,
            change=change,
            not_done=_set(data["not_done"]["say"]),
            tried_verbs=_set(tried["verbs"]),
            tried_new=_set(tried["is_new"]),
            tried_same=_set(tried["same"]),
        )
    except KeyError as error:
        raise VocabularyError(f"actions.toml: expected the key {error}, got none") from error


def _build(words: Vocabulary) -> Actions:
    data = tomli.loads(_FILE.read_text(encoding="utf-8"))
    return build_actions({**data, "action": [*data["action"], *own_actions(words)]}, words)


_BUILT: Final = Built(_build)


def actions_for(words: Vocabulary | None = None) -> Actions:
    """Return the actions for ``words``, built once."""
    return _BUILT.of(words)


@dataclass(frozen=True, slots=True, kw_only=True)
class Deed:
    """An action that was typed: its marks, and those of the part of the line that answers it."""

    action: Action
    first: int
    stop: int
    begin: int
    end: int


def _denied(stems: Sequence[str], index: int, hit: tuple[int, int, int]) -> bool:
    if hit[1] - index == hit[2]:
        return index > 0 and stems[index - 1] in _NEGATIONS
    return any(stem in _NEGATIONS for stem in stems[max(0, index - 1) : hit[1]])


def find_deeds(line: Line, stems: Sequence[str], actions: Actions) -> list[Deed]:
    """Return the actions of a line, in order; the longest phrase wins at a place."""
    hits: list[tuple[int, int, int]] = []
    index = 0
    while index < len(stems):
        if stems[index] == ",":
            index += 1
            continue
        stop = (
            line.clause_bounds(index)[1]
            if actions.phrases.at(stems, index, stop=len(stems))
            else index
        )
        found = actions.phrases.at(stems, index, stop=stop) if stop > index else []
        # "not swapped" and "fan not running" are no deeds.
        found = [row for row in found if not _denied(stems, index, row)]
        if found and _is_thing(line, stems, (index, found[0][1]), actions=actions, earlier=hits):
            found = []
        if found:
            best = _best_hit(found)
            hits.append((best[0], index, best[1]))
            index = best[1]
        else:
            index += 1
    return _deeds(line, hits, actions)


def _best_hit(found: Sequence[tuple[int, int, int]]) -> tuple[int, int, int]:
    """Return the phrase of most words; "pulled bcm fuse" is about the fuse, its last word."""
    best = max(found, key=lambda row: (row[2], -row[1]))
    return next((row for row in found if row[2] == best[2] and row[1] == best[1] + 1), best)


def _is_thing(
    line: Line, stems: Sequence[str], span: tuple[int, int], *, actions: Actions,
    earlier: Sequence[tuple[int, int, int]],
) -> bool:  # fmt: skip
    """Return whether the words name a part or a place: "cleaned throttle body", "hit at drain"."""
    first, stop = span
    lead = first - 1 - (line.low(first - 1) in {"the", "a", "new"})
    if lead >= 0 and line.clause[lead] == line.clause[first]:
        if actions.tried_verbs.at(stems, lead, stop=first, gap=0):
            return True
        if line.low(lead) in _PLACING and earlier:
            return line.clause[earlier[-1][1]] == line.clause[first]
    return stop < len(stems) and bool(actions.tried_verbs.at(stems, stop, stop=stop + 1, gap=0))


def _merged(line: Line, hits: list[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    """Return the hits without a second one of the same check: "pry bar on lower ball joint"."""
    kept: list[tuple[int, int, int]] = []
    for row in hits:
        if kept and kept[-1][0] == row[0] and line.clause[kept[-1][1]] == line.clause[row[1]]:
            kept[-1] = (row[0], kept[-1][1], row[2])
        else:
            kept.append(row)
    return kept


def _deeds(line: Line, hits: list[tuple[int, int, int]], actions: Actions) -> list[Deed]:
    deeds = []
    hits = _merged(line, hits)
    for at, (row, first, stop) in enumerate(hits):
        begin = line.clause_bounds(first)[0]
        begin += line.low(begin) in {",", ";", ".", "but"}
        end = line.statement_end(first)
        if at and hits[at - 1][1] >= begin:
            begin = first
        if at + 1 < len(hits) and hits[at + 1][1] < end:
            following = hits[at + 1][1]
            end = max(stop, line.clause_bounds(following)[0])
            end = following if end < stop or end <= first else end
        deeds.append(Deed(action=actions.rows[row], first=first, stop=stop, begin=begin, end=end))
    return deeds

"""From text to bound clauses with their symptoms: the steps of reading, in order.

Split, match phrases, bind negations and conditions, let a clause of conditions alone mark its
neighbour, name symptoms by rules, then turn "fine when ..." and "goes away when ..." into what
they say about the symptom before them.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import tomli

from kb.case.grammar.binding import Bound, BoundClause, bind_clause, lend_parts
from kb.case.grammar.built import Built
from kb.case.grammar.lexicon import Lexicon, build_lexicon, phrases, typed_words
from kb.case.grammar.own_words import add_own_words
from kb.case.grammar.rules import Rules, compile_rules
from kb.case.grammar.symptoms import Hit, features_of, find_symptoms
from kb.case.grammar.temperatures import AIR_WORDS, bare_temperature
from kb.case.model import Polarity
from kb.case.terms import Vocabulary
from kb.errors import VocabularyError

FOLDER: Final = Path(__file__).resolve().parents[2] / "vocabulary"
_BOUNDARY: Final = re.compile(
    r"[;!?\n]|(?<!\bst)(?<!\bpass)(?<!\bcompr)(?<!\bvs)(?<!\bapprox)(?<!\bctr)(?<!\bfrt)\.(?!\d)|"
    r",(?!\d)|(?<!\d),(?=\d)|\b(?:but|yet|(?<!\ba )while)\b",
    re.IGNORECASE,
)
# "fan silent? no - runs": the answer, then what is so.
_ANSWER: Final = re.compile(r"(?:no|none|nope|never)\s*[-–—]", re.IGNORECASE)
_AIR_MARKS: Final = frozenset({"setting_cold", "setting_hot", "on_recirculate"})
# Measured on the demonstration cases: beyond these more symptoms are wrong than right.
_MOST_UNKNOWN: Final = 3
_WIDEST_GAP: Final = 7
_RECOVERED: Final = frozenset({"ok", "cold", "work", "start", "drive_away"})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tools:
    """A vocabulary with the lexicon and the rules made from it; each is like itself alone."""

    words: Vocabulary
    lexicon: Lexicon
    rules: Rules
    opposite: Mapping[str, str]
    engine_words: frozenset[str]


@dataclass(slots=True)
class ReadClause:
    """A bound clause, the hits that start in it, and what it says about a neighbour's symptom."""

    bound: BoundClause
    numbers: range
    hits: list[Hit] = field(default_factory=list)
    given_to: int | None = None
    response: tuple[str, str | None] | None = None
    ok_only: bool = False


def read_rows(folder: Path, name: str) -> dict[str, Any]:
    """Return the rows of one vocabulary file.

    Raises
    ------
    VocabularyError
        Where the file is missing or is not TOML.
    """
    try:
        return tomli.loads((folder / name).read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise VocabularyError(f"{name}: expected the file, got none; reinstall") from None
    except tomli.TOMLDecodeError as error:
        raise VocabularyError(f"{name}: expected TOML, got {error}") from error


def build_tools(words: Vocabulary, folder: Path = FOLDER) -> Tools:
    """Return what reading needs; raise VocabularyError naming file and key."""
    wording = read_rows(folder, "wording.toml")
    recognise = read_rows(folder, "recognise.toml")
    for name, section in (("filler", wording), ("symptom", recognise)):
        if name not in section:
            raise VocabularyError(f"expected a table [{name}] in wording.toml or recognise.toml")
    lexicon = build_lexicon(words, wording)
    add_own_words(lexicon, words)
    return Tools(
        words=words,
        lexicon=lexicon,
        rules=compile_rules(lexicon, words, recognise),
        opposite={key: row.opposite[0] for key, row in words.conditions.items() if row.opposite},
        engine_words=frozenset(phrases(wording.get("engine", {}).get("words", ""))),
    )


_BUILT: Final = Built(build_tools)


def tools_for(words: Vocabulary | None) -> Tools:
    """Return the tools of a vocabulary, built once."""
    return _BUILT.of(words)


@lru_cache(maxsize=4096)
def action_names(text: str) -> tuple[str, ...]:
    """Return the classes of the actions named in ``text``, sorted."""
    found = tools_for(None).lexicon.match(typed_words(text[:200]))
    return tuple(sorted({name for lexeme in found for name in lexeme.names("action")}))


def split_clauses(text: str) -> tuple[tuple[int, int], ...]:
    """Return the spans of the clauses of ``text``, without white space at their ends.

    Examples
    --------
    >>> split_clauses("1,200 rpm, cold")
    ((0, 9), (11, 15))
    """
    spans: list[tuple[int, int]] = []
    start = 0
    for match in _BOUNDARY.finditer(text):
        spans.append((start, match.start()))
        start = match.end()
    spans.append((start, len(text)))
    trimmed = (_trim(text, first, last) for first, last in spans)
    return tuple(span for span in trimmed if span[0] < span[1])


def _trim(text: str, start: int, end: int) -> tuple[int, int]:
    while start < end and text[start].isspace():
        start += 1
    while end > start and text[end - 1].isspace():
        end -= 1
    return start, end


def _bind_all(text: str, tools: Tools) -> list[BoundClause]:
    made: list[BoundClause] = []
    for start, end in split_clauses(text):
        words = typed_words(text[start:end])
        lexemes = tools.lexicon.match(words)
        clause = bind_clause(
            lexemes,
            words,
            (start, end),
            opposite=tools.opposite,
            filler=tools.lexicon.filler,
        )
        made.append(clause)
    _read_temperatures(made, tools)
    _answer_questions(text, made)
    return made


def _read_temperatures(clauses: Sequence[BoundClause], tools: Tools) -> None:
    named = {name for row in clauses for item in row.bound for _, name in item.lexeme.classes}
    marks = {key for row in clauses for key in (*row.conditions, *row.not_conditions)}
    beside_air, carried = bool(named & AIR_WORDS or marks & _AIR_MARKS), False
    for clause in clauses:
        carried = bare_temperature(
            clause, tools.engine_words, beside_air=beside_air, carried=carried
        )


def _answer_questions(text: str, clauses: Sequence[BoundClause]) -> None:
    """Let "no" or "none" after a question deny what was asked: "any leaks? none"."""
    for before, clause in pairwise(clauses):
        asked = text[before.end : clause.start].strip() == "?"
        answered = bool(_ANSWER.match(text, clause.start, clause.end))
        if not asked or not (answered or _denies_alone(clause)):
            continue
        for item in before.bound:
            item.polarity = Polarity.NO if item.observed else item.polarity
        for item in clause.bound if answered else ():
            item.polarity = Polarity.YES


def _denies_alone(clause: BoundClause) -> bool:
    return bool(clause.functions & {"no", "absent"}) and not clause.observes


def _only_marks(clause: BoundClause) -> bool:
    """Return True for a clause that holds conditions alone."""
    marks = clause.conditions or clause.not_conditions
    named = any(item.observed or item.parts for item in clause.bound if not item.lent)
    return bool(marks) and not (named or clause.numbers) and clause.change is None


def _give_marks(clauses: Sequence[BoundClause]) -> dict[int, int]:
    """Let clauses of conditions alone mark the observation before them, or the one after."""
    given: dict[int, int] = {}
    for at, clause in enumerate(clauses):
        if not _only_marks(clause) or len(clauses) == 1:
            continue
        aim = next((n for n in range(at - 1, -1, -1) if n not in given), None)
        aim = at + 1 if aim is None else aim
        if aim >= len(clauses):
            continue
        given[at] = aim
        _merge(clauses[aim].conditions, clause.conditions)
        _merge(clauses[aim].not_conditions, clause.not_conditions)
        clauses[aim].functions |= clause.functions
        clauses[aim].position = clauses[aim].position or clause.position
    return given


def _merge(aim: list[str], more: Sequence[str]) -> None:
    aim.extend(key for key in more if key not in aim)


def read_text(text: str, tools: Tools) -> list[ReadClause]:
    """Return the clauses of ``text`` with the symptoms found in them."""
    clauses = _bind_all(text, tools)
    given = _give_marks(clauses)
    read: list[ReadClause] = []
    first, before = 0, None
    for at, clause in enumerate(clauses):
        if at not in given:
            lend_parts(before, clause)
            before = clause
        read.append(
            ReadClause(clause, range(first, first + len(clause.bound)), given_to=given.get(at))
        )
        first += len(clause.bound)
    observed = frozenset(
        number
        for row in read
        for number, item in zip(row.numbers, row.bound.bound, strict=True)
        if item.observed
    )
    features = [features_of(row.bound, row.numbers.start) for row in read]
    for hit in find_symptoms(tools.rules, features, observed):
        if _plausible(hit, read):
            read[hit.clauses[0]].hits.append(hit)
    _bind_responses(text, read)
    return read


def _plausible(hit: Hit, read: Sequence[ReadClause]) -> bool:
    """Return False for a symptom read from words far apart, or from one word in a story."""
    if hit.rule.own:
        # The shop says what this word means; no story around it changes that.
        return True
    bound = read[hit.clauses[0]].bound
    first = read[hit.clauses[0]].numbers.start
    if len(hit.used) == 1 and hit.slots == 1:
        return bound.unknown <= _MOST_UNKNOWN
    inside = [number - first for number in hit.used if 0 <= number - first < len(bound.bound)]
    places = sorted(
        (item.lexeme.first, item.lexeme.last)
        for item in (bound.bound[n] for n in inside)
        if not item.lent
    )
    return all(after[0] - before[1] <= _WIDEST_GAP for before, after in pairwise(places))


def _spent(read: Sequence[ReadClause]) -> set[int]:
    return {number for row in read for hit in row.hits for number in hit.used}


def _bind_responses(text: str, read: Sequence[ReadClause]) -> None:
    spent = _spent(read)
    for at, row in enumerate(read):
        change = row.bound.change
        free = [
            item
            for number, item in zip(row.numbers, row.bound.bound, strict=True)
            if item.observed and number not in spent
        ]
        names = {name for item in free for name in item.observed}
        actions = [item for item in free if item.lexeme.names("action")]
        if change is None and actions and names & _RECOVERED and not row.hits and at:
            change = "gone"
        if change is not None:
            row.response = (change, _action(text, read, at=at, actions=actions))
        row.ok_only = "ok" in names and not row.hits and row.given_to is None


def _action(
    text: str, read: Sequence[ReadClause], *, at: int, actions: Sequence[Bound]
) -> str | None:
    start = read[at].bound.start
    if actions:
        lexeme = actions[0].lexeme
        return text[start + lexeme.start : start + lexeme.end]
    before = read[at - 1].bound if at else None
    if before and any(item.lexeme.names("action") for item in before.bound):
        return text[before.start : before.end]
    return None

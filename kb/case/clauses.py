"""Clauses of typed text, with the symptoms, conditions and responses they hold, and their tokens.

A token is ``what|polarity|condition``. Where the vocabulary has no symptom for the words, the
observation stands in its place as ``part:state``, so that "cold on the road, warm in traffic"
and its contrary never get the same tokens.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from kb.case.binding import Bound, BoundClause
from kb.case.model import Change, Polarity, Response, Symptom
from kb.case.reader import ReadClause, Tools, read_text, split_clauses, tools_for
from kb.case.symptoms import Hit
from kb.case.terms import Vocabulary

__all__ = ["Clause", "clause_tokens", "read_clauses", "split_clauses", "symptom_tokens"]

# Places that are conditions already; a position says the same once more.
_PLACES: Final = {
    "LF": ("left_side", "front"),
    "RF": ("right_side", "front"),
    "LR": ("left_side", "rear"),
    "RR": ("right_side", "rear"),
    "left": ("left_side",),
    "right": ("right_side",),
    "front": ("front",),
    "rear": ("rear",),
}
_CHANGES: Final = {change.value: change for change in Change}
# States that are no complaint of their own.
_HARMLESS: Final = frozenset({"ok", "drive_away", "on", "run", "start", "work", "blow"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Clause:
    """One clause of a line; spans are character offsets into the whole text.

    ``terms`` are keys of synonym groups and state words (``condenser``, ``state:warm``); ``used``
    are the spans that were understood; ``tokens`` are what the index keeps.
    """

    text: str
    start: int
    end: int
    symptoms: tuple[Symptom, ...] = ()
    conditions: tuple[str, ...] = ()
    not_conditions: tuple[str, ...] = ()
    terms: tuple[str, ...] = ()
    used: tuple[tuple[int, int], ...] = ()
    tokens: tuple[str, ...] = ()


def _unique(values: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(values))


def _marked(what: str, polarity: str, *, marks: Sequence[str], away: Sequence[str]) -> list[str]:
    tokens = [f"{what}|{polarity}|{key}" for key in marks]
    contrary = "no" if polarity == "yes" else "yes"
    tokens.extend(f"{what}|{contrary}|{key}" for key in away)
    return tokens


def symptom_tokens(symptom: Symptom) -> tuple[str, ...]:
    """Return the tokens of a structured symptom, the same as those of its text.

    Examples
    --------
    >>> symptom_tokens(Symptom(text="", concept="brake_pulls", conditions=("braking",)))
    ('brake_pulls|yes|', 'brake_pulls|yes|braking')
    """
    if symptom.concept is None:
        return clause_tokens(symptom.text)
    # What was said beside the concept ("left rear", "on high") is in the words alone.
    said = [token for token in clause_tokens(symptom.text) if ":" in token]
    return _unique((*_concept_tokens(symptom), *said))


def _concept_tokens(symptom: Symptom) -> tuple[str, ...]:
    polarity = symptom.polarity.value
    marks = _unique((*symptom.conditions, *_place_marks(symptom.position)))
    tokens = [f"{symptom.concept}|{polarity}|"]
    tokens += _marked(symptom.concept, polarity, marks=marks, away=symptom.not_conditions)
    response = symptom.response
    if response is not None and response.change is not None:
        tokens.append(_response_token(response.change.value, response.action))
    return _unique(tokens)


def _place_marks(position: str | None) -> tuple[str, ...]:
    if position is None:
        return ()
    return _PLACES.get(position, ("at:" + position.replace(" ", "_"),))


def _response_token(change: str, action: str | None) -> str:
    return f"response:{change}|yes|{(action or '').lower().strip().replace(' ', '_')}"


class _Assembler:
    """Builds the clauses of one text."""

    def __init__(self, text: str, read: list[ReadClause], tools: Tools) -> None:
        self.text, self.read, self.tools = text, read, tools
        self.spent = {number for row in read for hit in row.hits for number in hit.used}

    def clauses(self) -> tuple[Clause, ...]:
        made = [self._clause(row, at) for at, row in enumerate(self.read)]
        if any(clause.tokens for clause in made):
            return tuple(made)
        return tuple(
            replace(clause, tokens=_unique(self._bare(row)))
            for clause, row in zip(made, self.read, strict=True)
        )

    def _clause(self, row: ReadClause, at: int) -> Clause:
        bound = row.bound
        symptoms = [self._symptom(hit) for hit in row.hits]
        tokens = [token for symptom in symptoms for token in _concept_tokens(symptom)]
        tokens += self._qualities(row)
        tokens += self._observations(row, at)
        if not symptoms:
            symptoms = self._nameless(row)
        return Clause(
            text=self.text[bound.start : bound.end],
            start=bound.start,
            end=bound.end,
            symptoms=tuple(symptoms),
            conditions=tuple(bound.conditions),
            not_conditions=tuple(bound.not_conditions),
            terms=self._terms(row),
            used=self._used(row),
            tokens=_unique(tokens),
        )

    def _symptom(self, hit: Hit) -> Symptom:
        rows = [self.read[n] for n in hit.clauses]
        around = self._around(hit)
        away = _unique(key for row in rows for key in row.bound.not_conditions)
        away = _unique((*away, *(key for row in around if row.ok_only for key in _marks(row))))
        keys = _unique(key for row in rows for key in row.bound.conditions)
        spared = [key for key in keys if key in hit.rule.spares]
        away = _unique((*away, *spared))
        answer = next((row for row in (*rows, *around) if row.response), None)
        keys, away = self._answered(answer, keys, away)
        keys = self._with_implied(hit, tuple(key for key in keys if key not in away), away)
        response = answer.response if answer else None
        start, end = rows[0].bound.start, rows[-1].bound.end
        return Symptom(
            text=self.text[start:end],
            concept=hit.rule.concept,
            polarity=hit.polarity,
            position=next((row.bound.position for row in rows if row.bound.position), None),
            conditions=keys,
            not_conditions=away,
            response=response and _response(response),
        )

    def _around(self, hit: Hit) -> list[ReadClause]:
        """Return the clauses after a symptom that say something about it alone."""
        found: list[ReadClause] = []
        for row in self.read[hit.clauses[-1] + 1 :]:
            if row.hits:
                break
            if row.ok_only or row.response:
                found.append(row)
        if hit.clauses[0] and self.read[hit.clauses[0] - 1].ok_only:
            found.append(self.read[hit.clauses[0] - 1])
        return found

    def _with_implied(
        self, hit: Hit, keys: tuple[str, ...], away: tuple[str, ...]
    ) -> tuple[str, ...]:
        if hit.polarity is not Polarity.YES:
            return keys
        barred = {*away, *keys, *(self.tools.opposite.get(key, "") for key in keys)}
        return (*keys, *(key for key in hit.rule.adds if key not in barred))

    def _answered(
        self, answer: ReadClause | None, keys: tuple[str, ...], away: tuple[str, ...]
    ) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Turn the conditions under which a symptom goes away into where it does not show."""
        if answer is None or answer.response is None or answer.response[0] != "gone":
            return keys, away
        marks = answer.bound.conditions
        contrary = [self.tools.opposite[key] for key in marks if key in self.tools.opposite]
        rest = [key for key in keys if key not in marks]
        return _unique((*rest, *contrary)), _unique((*away, *marks))

    def _nameless(self, row: ReadClause) -> list[Symptom]:
        bound = row.bound
        free = [item for item in self._free(row) if set(item.observed) - _HARMLESS]
        states = [item for item in free if item.lexeme.names("state")]
        if not states or row.response:
            return []
        return [
            Symptom(
                text=self.text[bound.start : bound.end],
                polarity=states[0].polarity,
                position=bound.position,
                conditions=tuple(bound.conditions),
                not_conditions=tuple(bound.not_conditions),
            )
        ]

    def _free(self, row: ReadClause) -> list[Bound]:
        return [
            item
            for number, item in zip(row.numbers, row.bound.bound, strict=True)
            if number not in self.spent and not item.lent
        ]

    def _observations(self, row: ReadClause, at: int) -> list[str]:
        """Return the tokens of what no symptom rests on."""
        bound = row.bound
        marks = _marks_of(bound)
        tokens = _joined_sides(self._said(row, at, marks))
        if not bound.observes:
            named = [item for item in self._free(row) if item.parts]
            tokens += [
                token
                for item in named
                for token in _observation(item.parts[0] + ":named", item, marks=marks, row=row)
            ]
        if row.response and row.response[1] and not row.hits:
            tokens.append(_response_token(*row.response))
        return tokens

    def _qualities(self, row: ReadClause) -> list[str]:
        """Return what a clause says of its symptoms that a symptom has no field for."""
        return [
            f"{hit.rule.concept}|{hit.polarity.value}|at:{mark}"
            for hit in row.hits
            for number in hit.clauses
            for mark in self.read[number].bound.marks
        ]

    def _bare(self, row: ReadClause) -> list[str]:
        """Return the tokens of a text that names nothing but places, conditions or states."""
        marks, away = _marks_of(row.bound), row.bound.not_conditions
        tokens = [
            f"{state}|{item.polarity.value}|"
            for item in row.bound.bound
            for state in item.observed[:1]
        ]
        return [*_marked("seen", "yes", marks=marks, away=away), *(f"it:{t}" for t in tokens)]

    def _said(self, row: ReadClause, at: int, marks: tuple[str, ...]) -> list[str]:
        # An action that got an answer is told by the response alone: "hose pinched, better" and
        # "hose pinched, no change" have nothing in common.
        answered = row.response or (at + 1 < len(self.read) and self.read[at + 1].response)
        return [
            token
            for item in self._free(row)
            if item.observed
            and not (answered and item.lexeme.names("action"))
            and self._tells(item)
            for token in _observation(self._what(item, row), item, marks=marks, row=row)
            if not self._empty(token)
        ]

    def _tells(self, item: Bound) -> bool:
        # "on high" is a place on a switch there, not a state of its own.
        states = item.lexeme.names("state")
        if states and item.lexeme.names("mark") and not set(states) & {"stuck"}:
            return False
        return item.observed[0] not in self.tools.lexicon.silent

    def _empty(self, token: str) -> bool:
        what = token.partition("|")[0]
        return what.startswith("it:") and what[3:] in self.tools.lexicon.empty

    def _what(self, item: Bound, row: ReadClause) -> str:
        state = item.observed[0]
        if item.lexeme.names("action"):
            return "done:" + item.lexeme.names("action")[0]
        parts = [other for other in row.bound.bound if other.parts and other is not item]
        before = [other for other in parts if other.lexeme.first < item.lexeme.first]
        near = before[-1:] or parts[:1]
        usual = self.tools.lexicon.subject_of.get(state)
        if usual and (not near or near[0].lent):
            return f"{usual}:{state}"
        subject = near[0].parts[0] if near else "it"
        return f"{subject}:{state}"

    def _terms(self, row: ReadClause) -> tuple[str, ...]:
        found: list[str] = []
        for item in row.bound.bound:
            if not item.lent:
                found += item.lexeme.names("group")
                found += ["state:" + name for name in item.lexeme.names("state")]
        return _unique(found)

    def _used(self, row: ReadClause) -> tuple[tuple[int, int], ...]:
        return tuple((row.bound.start + a, row.bound.start + b) for a, b in row.bound.spans)


def _observation(what: str, item: Bound, *, marks: tuple[str, ...], row: ReadClause) -> list[str]:
    polarity = item.polarity.value
    tokens = _marked(what, polarity, marks=marks, away=row.bound.not_conditions)
    return tokens or [f"{what}|{polarity}|"]


def _joined_sides(tokens: list[str]) -> list[str]:
    """Join what is said of both gauges: "low side high and high side low" is one fact."""
    sides = [token for token in tokens if token.startswith(("low_side:", "high_side:"))]
    if len({token.partition(":")[0] for token in sides}) < 2:
        return tokens
    said = "+".join(sorted({token.partition("|")[0] for token in sides}))
    rest = [token for token in tokens if token not in sides]
    marks = sorted({token.partition("|")[2] for token in sides})
    return [*rest, *(f"{said}|{mark}" for mark in marks)]


def _marks_of(bound: BoundClause) -> tuple[str, ...]:
    named = (f"at:{mark}" for mark in bound.marks)
    return _unique((*bound.conditions, *_place_marks(bound.position), *named))


def _marks(row: ReadClause) -> list[str]:
    return row.bound.conditions


def _response(found: tuple[str, str | None]) -> Response:
    return Response(change=_CHANGES[found[0]], action=found[1])


def read_clauses(text: str, words: Vocabulary | None = None) -> tuple[Clause, ...]:
    """Return the clauses of ``text`` with what was understood in each."""
    tools = tools_for(words)
    return _Assembler(text, read_text(text, tools), tools).clauses()


def clause_tokens(text: str) -> tuple[str, ...]:
    """Return all tokens of ``text``, in order."""
    return tuple(token for clause in read_clauses(text) for token in clause.tokens)

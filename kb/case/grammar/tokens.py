"""Tokens of what a clause says: ``what|polarity|condition``, for the index.

A symptom gives its concept; what no symptom rests on gives ``part:state``. Marks of place ("on
high", "before the pump") stand beside the conditions, so that a statement and its contrary share
no observation.
"""

from collections.abc import Iterable, Sequence
from typing import Final

from kb.case.grammar.binding import Bound, BoundClause
from kb.case.grammar.reader import ReadClause, Tools, action_names
from kb.case.grammar.symptoms import Hit
from kb.case.model import Symptom

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
# States that are the place of a switch where the phrase marks one ("on high").
_SWITCHED: Final = frozenset({"high", "low", "plug_charge"})


def unique(values: Iterable[str]) -> tuple[str, ...]:
    """Return the values without repeats, in order."""
    return tuple(dict.fromkeys(values))


def _marked(what: str, polarity: str, *, marks: Sequence[str], away: Sequence[str]) -> list[str]:
    tokens = [f"{what}|{polarity}|{key}" for key in marks]
    contrary = "no" if polarity == "yes" else "yes"
    tokens.extend(f"{what}|{contrary}|{key}" for key in away)
    return tokens


def concept_tokens(symptom: Symptom) -> tuple[str, ...]:
    """Return the tokens of a symptom's fields."""
    polarity = symptom.polarity.value
    marks = unique((*symptom.conditions, *_place_marks(symptom.position)))
    tokens = [f"{symptom.concept}|{polarity}|"]
    tokens += _marked(symptom.concept or "", polarity, marks=marks, away=symptom.not_conditions)
    response = symptom.response
    if response is not None and response.change is not None and response.action:
        tokens.append(_response_token(response.change.value, response.action))
    return unique(tokens)


def _place_marks(position: str | None) -> tuple[str, ...]:
    if position is None:
        return ()
    return _PLACES.get(position, ("at:" + position.replace(" ", "_"),))


def _response_token(change: str, action: str | None) -> str:
    """Return the token of a response; an action is told by what was done, not by its words."""
    done = action_names(action) if action else ()
    return f"response:{change}|yes|{'+'.join(done) or (action or '').lower().replace(' ', '_')}"


class Told:
    """Makes the tokens of one text's clauses."""

    def __init__(self, read: Sequence[ReadClause], tools: Tools) -> None:
        self.read, self.tools = read, tools
        hits = [hit for row in read for hit in row.hits]
        self.spent = {number for hit in hits for number in hit.used}
        # Both sides of a contrast ("cold left, warm right") are told beside their symptom.
        self.across = {number for hit in hits if _contrasts(hit) for number in hit.used}

    def free(self, row: ReadClause) -> list[Bound]:
        """Return the phrases that no symptom rests on."""
        return [
            item
            for number, item in zip(row.numbers, row.bound.bound, strict=True)
            if number not in self.spent and not item.lent
        ]

    def observations(self, row: ReadClause, at: int) -> list[str]:
        """Return the tokens of what no symptom rests on."""
        bound = row.bound
        marks = marks_of(bound)
        tokens = _joined_sides(self._said(row, at, marks))
        if not bound.observes:
            named = [item for item in self.free(row) if item.parts]
            tokens += [
                token
                for item in named
                for token in _observation(item.parts[0] + ":named", item, marks=marks, row=row)
            ]
        told = any(item.observed and self._tells(item) for item in bound.bound)
        if at and not told and "no" in bound.functions:
            tokens += self._not_there(self.read[at - 1], marks)
        if row.response and row.response[1] and not row.hits:
            tokens.append(_response_token(*row.response))
        return tokens

    def _not_there(self, before: ReadClause, marks: tuple[str, ...]) -> list[str]:
        """Return the contrary of the clause before: "works on high, not on low"."""
        named = [hit.rule.concept for hit in before.hits]
        named += [
            self._what(item, before)
            for item in before.bound.bound
            if item.observed and not item.lent and self._tells(item) and not before.hits
        ]
        return [f"{what}|no|{mark}" for what in named for mark in marks]

    def qualities(self, row: ReadClause) -> list[str]:
        """Return what a clause says of its symptoms that a symptom has no field for."""
        return [
            f"{hit.rule.concept}|{hit.polarity.value}|at:{mark}"
            for hit in row.hits
            for number in hit.clauses
            for mark in self.read[number].bound.marks
        ]

    def bare(self, row: ReadClause) -> list[str]:
        """Return the tokens of a text that names nothing but places, conditions or states."""
        marks, away = marks_of(row.bound), row.bound.not_conditions
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
            for item in self._told(row, marks)
            if item.observed
            and not (answered and item.lexeme.names("action"))
            and self._tells(item)
            for token in _observation(self._what(item, row), item, marks=marks, row=row)
            if not self._empty(token)
        ]

    def _told(self, row: ReadClause, marks: tuple[str, ...]) -> list[Bound]:
        """Return what observations are made of: what is free, and the sides of a contrast."""
        return [
            item
            for number, item in zip(row.numbers, row.bound.bound, strict=True)
            if not item.lent and (number not in self.spent or (number in self.across and marks))
        ]

    def _tells(self, item: Bound) -> bool:
        # "on high" is a place on a switch there, not a state of its own.
        states = item.lexeme.names("state")
        if item.lexeme.names("mark") and set(states) & _SWITCHED:
            return False
        return item.observed[0] not in self.tools.lexicon.silent

    def _empty(self, token: str) -> bool:
        what, _, marks = token.partition("|")
        lexicon, state = self.tools.lexicon, what.removeprefix("it:")
        if state == what:
            return False
        return state in lexicon.empty or (state in lexicon.vague and marks.endswith("|"))

    def _what(self, item: Bound, row: ReadClause) -> str:
        state = item.observed[0]
        if item.lexeme.names("action"):
            return "done:" + item.lexeme.names("action")[0]
        parts = [other for other in row.bound.bound if other.parts and other is not item]
        before = [other for other in parts if other.lexeme.first < item.lexeme.first]
        near = before[-1:] or [part for part in parts if not part.lent][:1] or parts[-1:]
        told_as = self.tools.lexicon.told_as
        usual = self.tools.lexicon.subject_of.get(state)
        subject = near[0].parts[0] if near else "it"
        if usual and (not near or near[0].lent):
            subject = usual
        return f"{told_as.get(subject, subject)}:{told_as.get(state, state)}"


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


def _contrasts(hit: Hit) -> bool:
    return len(hit.clauses) > 1


def marks_of(bound: BoundClause) -> tuple[str, ...]:
    """Return the conditions, the place and the marks of a clause."""
    named = (f"at:{mark}" for mark in bound.marks)
    return unique((*bound.conditions, *_place_marks(bound.position), *named))

"""Clauses of typed text, with the symptoms, conditions and responses they hold, and their tokens.

A token is ``what|polarity|condition``. Where the vocabulary has no symptom for the words, the
observation stands in its place as ``part:state``, so that "cold on the road, warm in traffic"
and its contrary never get the same tokens.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

from kb.case.grammar.reader import ReadClause, Tools, read_text, split_clauses, tools_for
from kb.case.grammar.symptoms import Hit
from kb.case.grammar.tokens import Told, concept_tokens, unique
from kb.case.model import Change, Polarity, Response, Symptom
from kb.case.terms import Vocabulary

__all__ = ["Clause", "clause_tokens", "read_clauses", "split_clauses", "symptom_tokens"]

_CHANGES: Final = {change.value: change for change in Change}
# States that are no complaint of their own.
_HARMLESS: Final = frozenset({"ok", "drive_away", "on", "run", "start", "work", "blow"})
# Signs of a text up to which it is kept as it was read, so that all of them stay small (our choice).
_READ_AGAIN: Final = 1_500


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


def symptom_tokens(symptom: Symptom, words: Vocabulary | None = None) -> tuple[str, ...]:
    """Return the tokens of a structured symptom, the same as those of its text.

    Examples
    --------
    >>> symptom_tokens(Symptom(text="", concept="brake_pulls", conditions=("braking",)))
    ('brake_pulls|yes|', 'brake_pulls|yes|braking')
    """
    if symptom.concept is None:
        return clause_tokens(symptom.text, words)
    # What was said beside the concept ("left rear", "on high") is in the words alone.
    said = [token for token in clause_tokens(symptom.text, words) if ":" in token]
    return unique((*concept_tokens(symptom), *said))


class _Assembler:
    """Builds the clauses of one text."""

    def __init__(self, text: str, read: list[ReadClause], tools: Tools) -> None:
        self.text, self.read, self.tools = text, read, tools
        self.told = Told(read, tools)

    def clauses(self) -> tuple[Clause, ...]:
        made = [self._clause(row, at) for at, row in enumerate(self.read)]
        if any(clause.tokens for clause in made):
            return tuple(made)
        return tuple(
            replace(clause, tokens=unique(self.told.bare(row)))
            for clause, row in zip(made, self.read, strict=True)
        )

    def _clause(self, row: ReadClause, at: int) -> Clause:
        bound = row.bound
        symptoms = [self._symptom(hit) for hit in row.hits]
        tokens = [token for symptom in symptoms for token in concept_tokens(symptom)]
        tokens += self.told.qualities(row)
        tokens += self.told.observations(row, at)
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
            tokens=unique(tokens),
        )

    def _symptom(self, hit: Hit) -> Symptom:
        rows = [self.read[n] for n in hit.clauses]
        around = self._around(hit)
        away = unique(key for row in rows for key in row.bound.not_conditions)
        away = unique((*away, *(key for row in around if row.ok_only for key in _marks(row))))
        keys = unique(key for row in rows for key in row.bound.conditions)
        spared = [key for key in keys if key in hit.rule.spares]
        away = unique((*away, *spared))
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
        return unique((*rest, *contrary)), unique((*away, *marks))

    def _nameless(self, row: ReadClause) -> list[Symptom]:
        bound = row.bound
        free = [item for item in self.told.free(row) if set(item.observed) - _HARMLESS]
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

    def _terms(self, row: ReadClause) -> tuple[str, ...]:
        found: list[str] = []
        for item in row.bound.bound:
            if not item.lent:
                found += item.lexeme.names("group")
                found += ["state:" + name for name in item.lexeme.names("state")]
        return unique(found)

    def _used(self, row: ReadClause) -> tuple[tuple[int, int], ...]:
        return tuple((row.bound.start + a, row.bound.start + b) for a, b in row.bound.spans)


def _marks(row: ReadClause) -> list[str]:
    return row.bound.conditions


def _response(found: tuple[str, str | None]) -> Response:
    return Response(change=_CHANGES[found[0]], action=found[1])


def read_clauses(text: str, words: Vocabulary | None = None) -> tuple[Clause, ...]:
    """Return the clauses of ``text`` with what was understood in each."""
    read = _read_again if len(text) <= _READ_AGAIN else _read
    return read(text, tools_for(words))


def _read(text: str, tools: Tools) -> tuple[Clause, ...]:
    return _Assembler(text, read_text(text, tools), tools).clauses()


# A question is read as a job, and then its text for the search: once is enough for both.
_read_again = lru_cache(maxsize=64)(_read)


def clause_tokens(text: str, words: Vocabulary | None = None) -> tuple[str, ...]:
    """Return all tokens of ``text``, in order."""
    return _shipped_tokens(text) if words is None else _tokens(text, words)


# A job holds most of its texts more than once, and weeks one after the other hold the same jobs.
@lru_cache(maxsize=4096)
def _shipped_tokens(text: str) -> tuple[str, ...]:
    return _tokens(text, None)


def _tokens(text: str, words: Vocabulary | None) -> tuple[str, ...]:
    return tuple(token for clause in read_clauses(text, words) for token in clause.tokens)

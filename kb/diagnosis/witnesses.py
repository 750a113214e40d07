"""The cases of one cause that still stand: how many have a thing, and what they read."""

from collections.abc import Iterator
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from kb.case.term_rows import CauseTerm
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.part_names import concerns
from kb.retrieval.features import OBSERVED, Token, token_key
from kb.retrieval.measures import Measure, spread
from kb.retrieval.postings import Rows

LIST: Final = "the trade's list"


class Witnesses:
    """What the cases of a cause say; a case that was overturned is no witness.

    Parameters
    ----------
    model : CauseModel
        Fitted.
    cause : str
        One of its causes.
    """

    def __init__(self, model: CauseModel, cause: str) -> None:
        self.model, self.index, self.words = model, model.index, model.words
        self.cause = cause
        self.at = model.number(cause)
        self.term: CauseTerm | None = model.words.causes.get(cause)
        self.rows: Rows = model.counts_.witnesses(self.at)

    # --- words ---------------------------------------------------------------------------------

    def name(self, token: Token) -> str:
        """Return the words for a token; a check by its name."""
        check, _, subject = token.field.partition("|")
        if token.part != "finding" or check not in self.words.checks:
            return token.what
        said = self.words.check_name(check).partition(" (")[0] + (f", {subject}" if subject else "")
        return f"{said}: {token.value.replace('_', ' ')}"

    def counts(self, token: Token, *, speaks_for: bool) -> str:
        """Return in how many cases a token stands, and what the catalogue says of it."""
        parts = (self._numbers(token), self._listed(token, speaks_for=speaks_for))
        return "; ".join(part for part in parts if part)

    def counts_where_known(self, token: Token) -> str:
        """Return in how many cases a token stands, or that it comes from the catalogue only."""
        own = len(self.rows) if not _looked_for(token) else self._recorded(token)
        return self._numbers(token) if own else f"from {LIST}"

    def _recorded(self, token: Token) -> int:
        return self.model.counts_.having("fields", token.field, self.at)

    def _numbers(self, token: Token) -> str:
        if token.part == "tried":
            return ""
        value = "yes" if token.part == "symptom" else token.value
        key = token_key(token.field, value)
        own, size = len(self.rows), len(self.index.ids_)
        if _looked_for(token):
            own, size = self._recorded(token), self.index.fields_.count(token.field)
        if not size:
            return "no case here with this check yet"
        have = self.model.counts_.having("tokens", key, self.at)
        mine = f"{have} of {own}" if own else "no"
        shared = len(self.index.tokens_.of(key))
        turned = "there in " if value != token.value else ""
        done = " with this check" if token.part == "finding" else ""
        return f"{turned}{mine} {_cases(own)} of this cause{done}, {shared} of {size} overall"

    def _listed(self, token: Token, *, speaks_for: bool) -> str:
        """Return what the catalogue says where it says why the sign is what it is."""
        if self.term is None:
            return ""
        key, _, subject = token.field.partition("|")
        if token.part == "symptom" and key in self.words.symptoms:
            listed = key in self.term.complaints
            as_listed = listed == (token.value != "no")
            return ("" if listed else "not ") + f"on {LIST}" if as_listed == speaks_for else ""
        expected = self.term.expect.get(key) if token.part == "finding" else None
        if expected is None or not concerns(self.words, key, subject=subject, part=self.term.part):
            return ""
        if expected == token.value:
            return f"as {LIST} expects"
        return f"{LIST} expects {expected.replace('_', ' ')}"

    def values_beside(self, measure: Measure) -> str:
        """Return what the cases of the cause read, and where the middle half of all cases lies."""
        values = self.readings(measure.key)
        population = self.index.scale(measure.key).population
        if not len(values):
            return ""
        middle = population[[len(population) // 4, 3 * len(population) // 4]]
        return (
            f"its {_counted(len(values))}: {spread(measure, values)}; "
            f"half of all {len(population)}: {spread(measure, middle)}"
        )

    def readings(self, key: str) -> NDArray[np.float64]:
        """Return the values of the cause's cases, in the unit of comparison, ascending."""
        return self.model.counts_.values(self.at, key)

    # --- what most of the cases have --------------------------------------------------------------

    def shared(self, kind: Literal["tokens", "measures"]) -> Iterator[tuple[str, int]]:
        """Yield each key that more than half of the cases have, with the number of cases."""
        if not len(self.rows):
            return
        counted = self.model.counts_.having_each(kind, self.at)
        keys = list((self.index.tokens_ if kind == "tokens" else self.index.measures_).keys)
        for number in np.flatnonzero(2 * counted > len(self.rows)):
            yield keys[number], int(counted[number])

    def token(self, key: str) -> Token | None:
        """Return a stored key as a token of the job, None where it is none to be recorded."""
        field, _, value = key.partition("\t")
        head, _, rest = field.partition("|")
        if field.startswith(OBSERVED):
            return Token(part="observed", field=field, value=value, what=f"{rest}: {value}")
        if head == "code":
            return Token(part="code", field=field, value=value, what=f"code {rest}")
        if head in self.words.checks:
            return Token(part="finding", field=field, value=value, what="")
        if head in self.words.symptoms and not rest and value == "yes":
            said = self.words.symptoms[head].say
            return Token(part="symptom", field=field, value=value, what=said)
        return None


def _looked_for(token: Token) -> bool:
    """Say whether only cases that recorded the field tell of it."""
    return token.part in {"finding", "observed"}


def _cases(count: int) -> str:
    return "case" if count <= 1 else "cases"


def _counted(count: int) -> str:
    return "one case" if count == 1 else f"{count} cases"

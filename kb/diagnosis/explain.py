"""Why a cause is likely: what speaks for it, what against it, what is not known yet.

Every point is one thing known of the job with its share of the evidence, as ``CauseModel`` gives
it and the calibration weighs it, so that the words agree with the chances.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.cause_texts import JobWords
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.chances import Entry
from kb.diagnosis.expected import LEAST_NATS, Expected, Held, expected_of, held_by, is_known
from kb.diagnosis.learned_causes import LEARNED
from kb.diagnosis.linked import TOGETHER
from kb.diagnosis.witnesses import Witnesses
from kb.retrieval.analyzer import SMALL_WORDS
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.measures import Measure
from kb.retrieval.remembered import Remembered

Codes = NDArray[np.int64]

# Points shown for and against a cause, and things not known yet (our choice).
MOST_FOR: Final = 3
MOST_AGAINST: Final = 2
MOST_UNKNOWN: Final = 3
# What stands for no single thing known of a job.
_TOLD: Final = {
    TOGETHER: "what is found, taken together",
    LEARNED: "what such words meant in earlier jobs",
}
# Words shown as one point, at most (our choice).
MOST_WORDS: Final = 5
# Tokens under causes of which is remembered what is said, some .5 kB each (our choice).
_MOST_REMEMBERED: Final = 4_096


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One thing known of the job: what it is, the counts behind it, and its nats for the cause."""

    what: str
    nats: float
    counts: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """Why one cause stands where it does.

    ``speaks_for`` and ``speaks_against`` hold the strongest points, strongest first; ``rest`` is
    what all others give, so that together they add up to the evidence for the cause in nats.
    ``witnesses`` is the number of its cases that still stand, ``unknown`` what is not known of
    the job and would speak for the cause, most telling first.
    """

    cause: str
    witnesses: int
    speaks_for: tuple[Point, ...]
    speaks_against: tuple[Point, ...]
    rest: float
    unknown: tuple[Expected, ...]


class Explainer:
    """Explains causes; keeps the cases of each cause, and what is expected of it, once asked for.

    Parameters
    ----------
    model : CauseModel
        Fitted.
    """

    def __init__(self, model: CauseModel) -> None:
        self.model = model
        self._witnesses: dict[str, Witnesses] = {}
        self._expected: dict[str, tuple[Expected, ...]] = {}
        # What is said of tokens under causes follows from these and the closed cases alone.
        self._counts = Remembered[tuple[str, str, str, str, bool], str](_MOST_REMEMBERED)

    def explain(
        self, query: CaseFeatures, entries: Sequence[Entry], causes: Iterable[str]
    ) -> tuple[Explanation, ...]:
        """Return why each of ``causes`` stands where it does.

        Parameters
        ----------
        query : CaseFeatures
            The job.
        entries : sequence of Entry
            As ``CauseModel.entries`` gives them for ``query``.
        causes : iterable of str
            Only those that are shown: each costs time.
        """
        groups = _grouped(entries)
        shown, held = [self._witnesses_of(cause) for cause in causes], held_by(query)
        nats = self._nats(groups, np.array([row.at for row in shown], np.int64))
        return tuple(
            self._explain(held, groups, row, nats=own) for row, own in zip(shown, nats, strict=True)
        )

    def _witnesses_of(self, cause: str) -> Witnesses:
        if cause not in self._witnesses:
            self._witnesses[cause] = Witnesses(self.model, cause)
        return self._witnesses[cause]

    def _explain(
        self,
        held: Held,
        groups: Sequence[Sequence[Entry]],
        witnesses: Witnesses,
        *,
        nats: Sequence[float],
    ) -> Explanation:
        order = sorted(range(len(groups)), key=lambda number: (-abs(nats[number]), number))
        best = [at for at in order if nats[at] >= LEAST_NATS][:MOST_FOR]
        worst = [at for at in order if nats[at] <= -LEAST_NATS][:MOST_AGAINST]
        named = {at: self._point(groups[at], witnesses, nats[at]) for at in (*best, *worst)}
        return Explanation(
            cause=witnesses.cause,
            witnesses=len(witnesses.rows),
            speaks_for=tuple(named[at] for at in best),
            speaks_against=tuple(named[at] for at in worst),
            rest=sum(nats[at] for at in order if at not in named),
            unknown=self._unknown(held, witnesses),
        )

    def _unknown(self, held: Held, witnesses: Witnesses) -> tuple[Expected, ...]:
        if witnesses.cause not in self._expected:
            self._expected[witnesses.cause] = expected_of(self.model, witnesses)
        rows = self._expected[witnesses.cause]
        unknown = (row for row in rows if not is_known(row, held, witnesses))
        return tuple(islice(unknown, MOST_UNKNOWN))

    def _nats(self, groups: Sequence[Sequence[Entry]], causes: Codes) -> list[list[float]]:
        """Return what each group says of each of ``causes``, a list a cause."""
        rows, weight = [row for group in groups for row in group], self.model.calibration.weight
        if not rows:
            return [[] for _ in causes]
        weights = np.array([weight(row.part) for row in rows])
        told = iter((weights[:, None] * np.array([row.nats for row in rows])[:, causes]).tolist())
        found = []
        for group in groups:
            own = next(told)
            for _ in group[1:]:
                own = [one + more for one, more in zip(own, next(told), strict=True)]
            found.append(own)
        return [list(by_group) for by_group in zip(*found, strict=True)]

    def _point(self, group: Sequence[Entry], witnesses: Witnesses, nats: float) -> Point:
        item = group[0].item
        if item is None:
            return Point(what=_TOLD[group[0].part], nats=nats)
        if isinstance(item, JobWords):
            return Point(what=_shared_words(item, witnesses.at, nats=nats), nats=nats)
        if isinstance(item, Measure):
            return Point(what=item.what, nats=nats, counts=witnesses.values_beside(item))
        counts = self._counts_of(item, witnesses, speaks_for=nats > 0)
        return Point(what=witnesses.name(item), nats=nats, counts=counts)

    def _counts_of(self, token: Token, witnesses: Witnesses, *, speaks_for: bool) -> str:
        key = witnesses.cause, token.part, token.field, token.value, speaks_for
        found = self._counts.get(key)
        if found is None:
            found = self._counts.keep(key, witnesses.counts(token, speaks_for=speaks_for))
        return found


def _shared_words(words: JobWords, at: int, *, nats: float) -> str:
    """Return the words that a job shares with the cases and the catalogue's words of a cause."""
    if nats < 0:
        return "few words in common"
    return _in_common(words.shared_terms(at, most=9))


def _in_common(terms: Iterable[str]) -> str:
    """Return shared words and word pairs, strongest first; small words left out."""
    words = list(dict.fromkeys(term for term in terms if not set(term.split()) <= SMALL_WORDS))
    paired = {word for term in words if " " in term for word in term.split()}
    told = [word for word in words if word not in paired][:MOST_WORDS]
    return "words: " + ", ".join(told) if told else "spelling alike"


def _grouped(entries: Sequence[Entry]) -> list[list[Entry]]:
    """Return the entries with a symptom and its conditions together, the plain symptom first."""
    groups: dict[object, list[Entry]] = {}
    for number, row in enumerate(entries):
        key: object = number
        if isinstance(row.item, Token) and row.item.part in {"symptom", "condition"}:
            key = (row.item.field.partition("|")[0], row.item.value)
        groups.setdefault(key, []).append(row)
    for group in groups.values():
        group.sort(key=_after_the_symptom)
    return list(groups.values())


def _after_the_symptom(row: Entry) -> bool:
    return isinstance(row.item, Token) and row.item.part == "condition"

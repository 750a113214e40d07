"""Measure how often a short phrase finds its closed class: stored phrases, others asked."""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from kb.diagnosis.calibrate import ClosedJob, calibrate
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.learned_causes import CAUSE_FIELD
from kb.diagnosis.measure import Answered, score_causes
from kb.errors import ImportTableError
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.weigh import fit_weighed
from kb.workflow.records import bare_words
from kb.workflow.structured import Fitted
from kb.workflow.trials import answered, read_lines

# Folds where a file does not say which lines are stored; the usual number (our choice).
FOLDS: Final = 10
_SEED: Final = 7
_STORED: Final = "train"


@dataclass(frozen=True, slots=True, order=True)
class Phrase:
    """A few words with their class; ``part`` is "train" where the line is to be stored."""

    text: str
    label: str
    part: str = ""


def read_phrases(path: Path) -> list[Phrase]:
    """Return the phrases of a JSON Lines file with ``text``, ``label`` and perhaps ``part``.

    They are put in order of their words, so that the order of the lines changes nothing.

    Raises
    ------
    ImportTableError
        If a line has no text or label, or there are fewer than two lines.
    """
    rows = [_phrase(row, f"{path.name}, row {at}") for at, row in enumerate(read_lines(path), 1)]
    if len(rows) < 2:
        raise ImportTableError(f"{path.name}: expected at least 2 phrases, got {len(rows)}")
    return sorted(rows)


def _phrase(row: dict[str, Any], place: str) -> Phrase:
    text, label = (str(row.get(name) or "").strip() for name in ("text", "label"))
    if not text or not label:
        raise ImportTableError(f"{place}: expected text and label, got {sorted(row)}")
    return Phrase(text, label, str(row.get("part") or ""))


def stored_phrases(phrases: Sequence[Phrase]) -> tuple[CaseFeatures, ...]:
    """Return phrases as closed cases whose cause is their class."""
    return tuple(
        CaseFeatures(
            case=f"{number:06}", said=row.text, cause=row.label, labels=((CAUSE_FIELD, row.label),)
        )
        for number, row in enumerate(phrases)
    )


def fit_phrases(phrases: Sequence[Phrase]) -> Fitted:
    """Return the memory of phrases, fitted as a rebuild fits it for a shop."""
    cases, words = stored_phrases(phrases), bare_words()
    learned = fit_weighed(cases)
    pairs = [ClosedJob(stored=case, asked=replace(case, labels=())) for case in cases]
    numbers = calibrate(pairs, words, parts=learned.parts if learned else {})
    index = CaseIndex().fit(cases).attach(learned)
    return Fitted(index, CauseModel(words, calibration=numbers).fit(cases, index))


def _ask(fitted: Fitted, row: Phrase) -> Answered:
    question = CaseFeatures(case="question", said=row.text)
    return answered(fitted.model.chances(fitted.index.ask(question)), row.label)


def _splits(
    phrases: Sequence[Phrase], folds: int | None
) -> Iterator[tuple[list[Phrase], list[Phrase]]]:
    """Yield phrases to store with phrases to ask; each is asked once at most."""
    stored = [row for row in phrases if row.part == _STORED]
    if folds is None and 0 < len(stored) < len(phrases):
        yield stored, [row for row in phrases if row.part != _STORED]
        return
    folds = min(folds or FOLDS, len(phrases))
    mixed = list(phrases)
    random.Random(_SEED).shuffle(mixed)  # noqa: S311 - for folds, nothing secret
    for fold in range(folds):
        kept = [row for at, row in enumerate(mixed) if at % folds != fold]
        yield kept, mixed[fold::folds]


def measure_phrases(path: Path, *, folds: int | None = None) -> dict[str, object]:
    """Return the measures over phrases with a known class.

    Where some lines have the part "train", those are stored and the others asked. Otherwise, and
    where ``folds`` is given, every line is asked of a memory of the other folds.

    Parameters
    ----------
    path : Path
        JSON lines, see ``read_phrases``.
    folds : int or None
        In how many folds each line is asked of the others, at most one a line.

    Returns
    -------
    dict
        As ``kb.diagnosis.measure.score_causes`` gives it, hit@1 and hit@3 with Wilson intervals
        among it, and ``stored``, the least number of phrases stored when one was asked.
    """
    rows: list[Answered] = []
    sizes = []
    for stored, asked in _splits(read_phrases(path), folds):
        fitted = fit_phrases(stored)
        sizes.append(len(stored))
        rows += [_ask(fitted, row) for row in asked]
    return {"stored": min(sizes), **score_causes(rows)}

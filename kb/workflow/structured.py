"""Measure the answers on structured records: causes, chances, "something else", next finding."""

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from kb.diagnosis.calibrate import DROPPED, ClosedJob, calibrate
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.findings import next_findings
from kb.diagnosis.measure import Answered, score_causes, score_chances, separation
from kb.diagnosis.reliability import score_reliability
from kb.retrieval.features import CaseFeatures, observed_token
from kb.retrieval.index import CaseIndex
from kb.retrieval.weigh import WORTH_LEARNING, fit_weights
from kb.workflow.records import Question, Round, bare_words, read_rounds
from kb.workflow.trials import answered

# Below this many bits no finding tells anything, and a share of the best gain says nothing.
_LEAST_GAIN: Final = 1e-3
_SEED: Final = 7


@dataclass(frozen=True, slots=True)
class Fitted:
    """A memory of structured records."""

    index: CaseIndex
    model: CauseModel

    def ask(self, question: Question) -> Answered:
        """Return the chances of all causes with the true one."""
        chances = self.model.chances(self.index.ask(question.asked))
        return answered(chances, question.cause)

    def suggested(self, question: Question) -> str | None:
        """Return the finding that is suggested next out of those whose exact gain is known."""
        asked = self.index.ask(question.asked)
        fields = [observed_token(name, "").field for name in question.gains]
        chances = self.model.chances(asked)
        best = next_findings(self.model, asked, chances, fields=fields, top=1)
        return best[0].field.partition("|")[2] if best else None


def fit_records(cases: Sequence[CaseFeatures]) -> Fitted:
    """Return the memory of structured records, its numbers calibrated where there are enough."""
    words = bare_words()
    parts = fit_weights(cases) if len(cases) >= WORTH_LEARNING else {}
    jobs = [ClosedJob(stored=case, asked=case) for case in cases]
    numbers = calibrate(jobs, words, parts=parts)
    index = CaseIndex(part_weights=parts).fit(cases)
    return Fitted(index, CauseModel(words, calibration=numbers).fit(cases, index))


def measure_diagnosis(folder: Path, *, stored: int | None = None) -> dict[str, object]:
    """Return the measures over a folder of structured records.

    Where the folder holds several folds, the answers of all of them are measured together;
    ``stored`` is then the least that any fold was asked of.

    Parameters
    ----------
    folder : Path
        With ``stored_cases.jsonl`` or ``stored_cases.csv.gz``, and ``queries.jsonl``; or with
        ``cases.jsonl`` whose records carry a ``fold``.
    stored : int or None
        How many of the stored records the shop has closed so far; None means all.
    """
    rounds = read_rounds(folder, stored=stored)
    answers: list[Answered] = []
    gains: list[tuple[float, float]] = []
    for row in rounds:
        fitted = fit_records(row.stored)
        answers += [fitted.ask(question) for question in row.questions]
        gains += got_and_best(fitted, row.questions)
    least = min((len(row.stored) for row in rounds), default=0)
    out: dict[str, object] = {"stored": least, **score_causes(answers)}
    out |= score_chances(answers) | score_reliability(answers)
    out["never_stored"] = _never_stored(rounds)
    best = sum(most for _, most in gains)
    return out | ({"gain_share": sum(got for got, _ in gains) / best} if best else {})


def _never_stored(rounds: Sequence[Round]) -> dict[str, object]:
    """Return the measures with 15 % of the causes taken out of the store beforehand."""
    rows: list[Answered] = []
    for each in rounds:
        causes = sorted({case.cause for case in each.stored if case.cause})
        dropped = set(random.Random(_SEED).sample(causes, round(DROPPED * len(causes))))  # noqa: S311
        fitted = fit_records([case for case in each.stored if case.cause not in dropped])
        answers = [(fitted.ask(q), q.cause in dropped) for q in each.questions]
        rows += [replace(row, truth=None) if new else row for row, new in answers]
    other = [(row.chances[row.causes.index(None)], row.truth is None) for row in rows]
    inside = [chance for chance, new in other if not new]
    outside = [chance for chance, new in other if new]
    out: dict[str, object] = {"queries": len(rows), "new": len(outside)}
    if inside and outside:
        out["auc"] = separation(inside, outside)
    scores = score_causes(rows)
    return out | {"brier": scores["brier"], "ece": scores["ece"]} | score_chances(rows)


def got_and_best(fitted: Fitted, questions: Sequence[Question]) -> list[tuple[float, float]]:
    """Return, a question that tells anything, the bits of the suggested finding and of the best."""
    return [
        (question.gains.get(fitted.suggested(question) or "", 0.0), most)
        for question in questions
        if (most := max(question.gains.values(), default=0.0)) >= _LEAST_GAIN
    ]

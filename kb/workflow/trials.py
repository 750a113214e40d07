"""Put the answers to the test: a judged collection, questions with a known cause, own cases."""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any, Final

from kb.case.model import Job, JobState
from kb.case.standing import ELSEWHERE
from kb.case.terms import Vocabulary
from kb.diagnosis.chances import CauseChance
from kb.diagnosis.measure import Answered, score_causes, score_rankings
from kb.diagnosis.reliability import score_reliability
from kb.errors import ImportTableError
from kb.retrieval.features import case_features
from kb.retrieval.index import CaseIndex
from kb.retrieval.learn import fit_learned
from kb.workflow.jobs import draft_job, read_vehicle
from kb.workflow.memory import Memory
from kb.workflow.suggest import Suggestion, as_written_up, fit_memory, suggest_from

_TOP: Final = 10
# What of a stored record is no closed field, and the parts in which own records are left out.
_NO_FIELD: Final = frozenset({"id", "text", "date", "cost", "company"})
_FOLDS: Final = 5
# The memory is refitted at most this often while it is walked through in time (our choice: each
# question is still only asked of cases closed before it).
MOST_REFITS: Final = 40


def read_lines(path: Path) -> list[dict[str, Any]]:
    """Return the objects of a JSON Lines file.

    Raises
    ------
    ImportTableError
        Naming the file and the line that is not a JSON object.
    """
    rows = []
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ImportTableError(f"{path.name}: expected a text file, got: {error}") from error
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        try:
            row = json.loads(line)
        except json.JSONDecodeError as error:
            place = f"{path.name}, line {number}"
            raise ImportTableError(f"{place}: expected JSON, got: {error}") from error
        if not isinstance(row, dict):
            raise ImportTableError(
                f"{path.name}, line {number}: expected an object, got {line[:40]}"
            )
        rows.append(row)
    return rows


def read_judgements(path: Path) -> dict[str, dict[str, int]]:
    """Return the grades by query and document of a tab-separated file."""
    judged: dict[str, dict[str, int]] = {}
    for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1):
        parts = line.split("\t")
        if len(parts) != 3 or not parts[2].strip().lstrip("-").isdigit():
            raise ImportTableError(
                f"{path.name}, line {number}: expected query, document and grade between tabs, "
                f"got '{line[:60]}'"
            )
        judged.setdefault(parts[0], {})[parts[1]] = int(parts[2])
    return judged


def _bare_job(key: str, text: str) -> Job:
    return Job(id=key, opened=date(2000, 1, 1), state=JobState.CLOSED, lines=(text,))


def _labels(row: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Return the closed fields of a record: all that is neither its text nor its own number."""
    return tuple(
        (name, text)
        for name in sorted(set(row) - _NO_FIELD)
        for value in (row[name] if isinstance(row[name], list) else [row[name]])
        if value is not None and (text := str(value).strip())
    )


def measure_collection(
    folder: Path,
    words: Vocabulary,
    *,
    learn: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> dict[str, float]:
    """Return ranking measures over ``corpus.jsonl``, ``queries.jsonl`` and ``qrels.tsv``.

    Only the texts are searched. A query's ``skip`` lists documents that it must not find. With
    ``learn``, the further fields of the stored records are predicted from the text of the query;
    the documents that a query must not find teach nothing when it is asked.
    """
    corpus = read_lines(folder / "corpus.jsonl")
    queries = read_lines(folder / "queries.jsonl")
    judged = read_judgements(folder / "qrels.tsv")
    cases = [
        replace(case_features(_bare_job(row["id"], row["text"]), words), labels=_labels(row))
        for row in corpus
    ]
    index = CaseIndex().fit(cases)
    asked = [row for row in queries if row["id"] in judged]
    rankings: dict[str, list[str]] = {}
    for part in _parts(asked) if learn else [asked]:
        if learn:
            hidden = {case for row in part for case in row.get("skip") or ()}
            index.attach(fit_learned([case for case in cases if case.case not in hidden]))
        for row in part:
            if progress is not None:
                progress(len(rankings), len(asked))
            rankings[row["id"]] = _ranking(index, row, words)
    return score_rankings(rankings, judged)


def _parts(queries: Sequence[dict[str, Any]]) -> list[Sequence[dict[str, Any]]]:
    """Return the queries in parts that are left out of learning together."""
    if not any(row.get("skip") for row in queries):
        return [queries]
    return [part for at in range(_FOLDS) if (part := queries[at::_FOLDS])]


def _ranking(index: CaseIndex, row: Mapping[str, Any], words: Vocabulary) -> list[str]:
    skip = set(row.get("skip") or ())
    query = case_features(_bare_job("", row["text"]), words)
    found = index.ranked(query, top=_TOP + len(skip))
    return [case for case in found if case not in skip][:_TOP]


def answered(chances: Sequence[CauseChance], truth: str | None) -> Answered:
    """Return chances and truth as one row to score."""
    return Answered(
        causes=tuple(row.cause for row in chances),
        chances=tuple(row.chance for row in chances),
        truth=truth,
    )


def measure_queries(
    path: Path, memory: Memory, *, today: date
) -> tuple[dict[str, object], list[dict[str, object]]]:
    """Return the measures over questions with a known cause, and one row a question.

    Each line holds ``id``, ``ask`` (or ``text``), ``cause`` and perhaps ``vehicle``.
    """
    rows, details = [], []
    for line in read_lines(path):
        asked = str(line.get("ask") or line.get("text") or "")
        vehicle = read_vehicle(str(line["vehicle"])) if line.get("vehicle") else None
        entry = draft_job(asked, words=memory.words, vehicle=vehicle, today=today)
        row = answered(memory.suggest(entry.job).causes, line.get("cause"))
        rows.append(row)
        details.append({"id": line.get("id"), "cause": row.truth, "rank": row.rank})
    return score_causes(rows) | score_reliability(rows), details


def measure_own(
    jobs: Iterable[Job],
    words: Vocabulary,
    *,
    altitude_m: float = 0.0,
    newest: int | None = None,
    refits: int = MOST_REFITS,
) -> dict[str, object]:
    """Return the measures over the shop's own cases, each asked of the cases closed before it.

    Cases of other shops are among those asked of, and are never asked about.

    Cases whose cause never occurred before cannot be found; ``seen_before`` counts the others.

    Parameters
    ----------
    jobs : iterable of Job
        Closed jobs; those without a cause are left out.
    words : Vocabulary
        The trade's words.
    altitude_m : float
        Of the shop.
    newest : int or None
        How many of the newest cases are asked; None asks all but the first few.
    refits : int
        How often the memory is fitted anew on the way at most.
    """
    cases = sorted(
        (job for job in jobs if job.cause and job.closing),
        key=lambda job: (job.closing.closed if job.closing else date.min, job.id),
    )
    asked = len(cases) if newest is None else min(newest, len(cases))
    step = max(1, asked // refits)
    rows: list[Answered] = []
    old: list[Answered] = []
    for start in range(max(step, len(cases) - asked), len(cases), step):
        own = [job for job in cases[start : start + step] if job.origin not in ELSEWHERE]
        if not own:
            continue
        past = tuple(cases[:start])
        known = {job.cause for job in past}
        answers = _ask_all(own, past, words, altitude_m=altitude_m)
        rows += answers
        old += [row for row in answers if row.truth in known]
    return {**_scores(rows), "seen_before": _scores(old)}


def _scores(rows: Sequence[Answered]) -> dict[str, object]:
    return score_causes(rows) | score_reliability(rows) if rows else {"queries": 0}


def _ask_all(
    jobs: Sequence[Job], past: tuple[Job, ...], words: Vocabulary, *, altitude_m: float
) -> list[Answered]:
    index, model = fit_memory(past, words, altitude_m=altitude_m)

    def ask(job: Job) -> Suggestion:
        return suggest_from(index, model, as_written_up(job), altitude_m=altitude_m)

    return [answered(ask(job).causes, job.cause) for job in jobs]

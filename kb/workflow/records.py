"""Structured records: coded findings, readings and symptoms with a cause, to measure on."""

import csv
import gzip
import io
import json
import random
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path
from typing import Any, Final

from kb.case.terms import Vocabulary, load_vocabulary
from kb.errors import ImportTableError
from kb.retrieval.features import CaseFeatures, Token, observed_token
from kb.retrieval.measures import Measure
from kb.workflow.trials import read_lines

_CODED = "stored_cases.csv.gz"
_LINES = "stored_cases.jsonl"
_QUERIES = "queries.jsonl"
_FOLDED = "cases.jsonl"
# Share of the findings that a stored record of a folded set shows: those of the published networks
# here, so that a record looks as a shop would have kept it; the seed is fixed.
_LEAST_SHOWN: Final = 0.3
_MOST_SHOWN: Final = 0.6
_SEED: Final = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """An open record with its true cause; ``gains`` the exact bits of each finding, if known."""

    asked: CaseFeatures
    cause: str
    gains: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """Closed records, and the questions that are asked of them."""

    stored: tuple[CaseFeatures, ...]
    questions: tuple[Question, ...]


def bare_words() -> Vocabulary:
    """Return the vocabulary without the trade's checks, causes and symptoms.

    A structured set comes with words of its own; the trade's catalogue must not vote on it.
    """
    return replace(load_vocabulary(), checks={}, causes={}, symptoms={}, cautions={})


def _tokens(row: Mapping[str, Any]) -> Iterator[Token]:
    findings = {**(row.get("findings") or {}), **(row.get("seen") or {})}
    for name, value in findings.items():
        if value is not None:
            yield observed_token(name, str(value))
    for name, seen in (row.get("symptoms") or {}).items():
        if seen is not None:
            value = "yes" if seen else "no"
            yield Token(part="symptom", field=f"{name}|", value=value, what=f"{name}: {value}")


def record_features(row: Mapping[str, Any]) -> CaseFeatures:
    """Return what the index compares of a structured record; what is not there is left out."""
    return CaseFeatures(
        case=str(row["id"]),
        tokens=tuple(_tokens(row)),
        measures=tuple(
            Measure(key=name, value=float(value), what=f"{name} {value:g}")
            for name, value in (row.get("readings") or {}).items()
            if value is not None
        ),
        cause=row.get("cause"),
        group=str(row.get("group") or ""),
    )


def _read_coding(folder: Path) -> Mapping[str, Any]:
    path = folder / "coding.json"
    try:
        coding: Mapping[str, Any] = json.loads(path.read_text("utf-8"))
    except (OSError, json.JSONDecodeError) as error:
        raise ImportTableError(
            f"{path.name}: expected causes and states as JSON beside {_CODED}, got: {error}"
        ) from error
    return coding


def _coded_cases(folder: Path) -> Iterator[CaseFeatures]:
    """Yield the rows of a coded table; ``observed`` says which columns the shop wrote down."""
    coding = _read_coding(folder)
    with gzip.open(folder / _CODED, "rb") as stream:
        rows = csv.reader(io.TextIOWrapper(stream, "utf-8", newline=""))
        names = next(rows)[2:]
        for number, (cause, observed, *values) in enumerate(rows):
            written = {
                name: coding["states"][name][int(value)]
                for name, value, mark in zip(names, values, observed, strict=True)
                if mark == "1"
            }
            row = {"id": f"{number:06}", "cause": coding["causes"][int(cause)]}
            yield record_features({**row, "findings": written})


def read_stored(folder: Path, *, stored: int | None = None) -> tuple[CaseFeatures, ...]:
    """Return the first ``stored`` closed records of a folder, all where it is None.

    Raises
    ------
    ImportTableError
        If the folder holds neither ``stored_cases.jsonl`` nor ``stored_cases.csv.gz``.
    """
    if (folder / _LINES).exists():
        lines: Iterator[CaseFeatures] = map(record_features, read_lines(folder / _LINES))
    elif (folder / _CODED).exists():
        lines = _coded_cases(folder)
    else:
        raise ImportTableError(
            f"{folder.name}: expected {_LINES}, {_CODED} or {_FOLDED}, got none; "
            "name a folder with one"
        )
    try:
        return tuple(islice(lines, stored))
    except (KeyError, ValueError, IndexError, OSError) as error:
        raise ImportTableError(
            f"{folder.name}: expected closed records as its coding says, got: {error!r}"
        ) from error


def read_questions(folder: Path) -> tuple[Question, ...]:
    """Return the open records of ``queries.jsonl`` with their true cause.

    Raises
    ------
    ImportTableError
        If the file is missing, or a line has no ``id`` or ``cause``.
    """
    found = []
    for number, row in enumerate(read_lines(folder / _QUERIES), start=1):
        if "id" not in row or not row.get("cause"):
            raise ImportTableError(
                f"{_QUERIES}, line {number}: expected id and cause, got {sorted(row)}"
            )
        asked = replace(record_features(row), case=f"query {row['id']}", cause=None)
        gains = row.get("gain_bits") or {}
        found.append(Question(asked=asked, cause=row["cause"], gains=gains))
    return tuple(found)


def read_open(folder: Path) -> tuple[tuple[CaseFeatures, Mapping[str, str]], ...]:
    """Return the records of ``queries.jsonl``, cause included, with what was not looked at.

    The second of each pair is ``unseen_truth``, finding by finding, empty where there is none.

    Raises
    ------
    ImportTableError
        As ``read_questions``.
    """
    unseen = [row.get("unseen_truth") or {} for row in read_lines(folder / _QUERIES)]
    return tuple(
        (replace(question.asked, cause=question.cause), {k: str(v) for k, v in truth.items()})
        for question, truth in zip(read_questions(folder), unseen, strict=True)
    )


def read_rounds(folder: Path, *, stored: int | None = None) -> tuple[Round, ...]:
    """Return what is stored and what is asked: one round, or one a fold.

    A folder with ``cases.jsonl`` holds records that carry a ``fold``: each fold is asked of all
    the others, by the findings of its ``shown_as_query`` where a record lists them. A stored
    record shows a share between 30 and 60 % of its findings, the same ones in every round.

    Parameters
    ----------
    folder : Path
        As ``read_stored`` and ``read_questions`` take it, or with ``cases.jsonl``.
    stored : int or None
        How many closed records, the first ones, are stored at most in a round; None means all.

    Raises
    ------
    ImportTableError
        If a file is missing, or a line has no ``id``, ``cause`` or ``fold``.
    """
    if not (folder / _FOLDED).exists():
        return (Round(stored=read_stored(folder, stored=stored), questions=read_questions(folder)),)
    rows = read_lines(folder / _FOLDED)
    for number, row in enumerate(rows, start=1):
        if "id" not in row or not row.get("cause") or "fold" not in row:
            raise ImportTableError(
                f"{_FOLDED}, line {number}: expected id, cause and fold, got {sorted(row)}"
            )
    return tuple(
        Round(
            stored=tuple(islice((_stored(row) for row in rows if row["fold"] != fold), stored)),
            questions=tuple(_question(row) for row in rows if row["fold"] == fold),
        )
        for fold in sorted({row["fold"] for row in rows}, key=str)
    )


def _shown(row: Mapping[str, Any], names: Iterable[str]) -> CaseFeatures:
    """Return a record of which only the findings in ``names`` are written down."""
    written = row.get("findings") or {}
    return record_features({**row, "findings": {name: written.get(name) for name in names}})


def _stored(row: Mapping[str, Any]) -> CaseFeatures:
    draw = random.Random(f"{_SEED} {row['id']}")  # noqa: S311 (no secret)
    names = sorted(row.get("findings") or {})
    share = draw.uniform(_LEAST_SHOWN, _MOST_SHOWN)
    return _shown(row, draw.sample(names, round(share * len(names))))


def _question(row: Mapping[str, Any]) -> Question:
    names = row.get("shown_as_query", row.get("findings") or {})
    asked = replace(_shown(row, names), case=f"query {row['id']}", cause=None)
    return Question(asked=asked, cause=row["cause"])

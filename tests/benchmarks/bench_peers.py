"""Ours beside plain libraries on the same public questions, in one table.

Run: ``python -m tests.benchmarks.bench_peers [DATA_FOLDER] [--only NAME ...]``; the folder
defaults to the environment variable BAYBOOK_DATA. Needs ``pip install -e '.[bench]'``.

Texts: nDCG@10; learned is ours with the closed fields of the stored records, the documents that a
query must not find left out of the learning. A query's ``skip`` is left out for all. Records: the
share of questions whose cause is first, and is among the first three. Phrases: the same for the
label of a phrase, parts train stored and dev asked. A dash: not measured here.
"""

import argparse
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from kb.case.terms import load_vocabulary
from kb.diagnosis.measure import score_rankings
from kb.workflow.phrases import measure_phrases
from kb.workflow.records import read_rounds
from kb.workflow.structured import measure_diagnosis
from kb.workflow.trials import measure_collection, read_judgements, read_lines
from tests.benchmarks.peers import PHRASE_PEERS, RECORD_PEERS, TEXT_PEERS, Ranked, TextPeer

TOP = 10
TEXTS = ("excavators", "excavators_loc", "shorthand_plain", "shorthand_variants", "maintie")
RECORDS: tuple[tuple[str, int | None], ...] = (
    ("bn_child", 500),
    ("bn_child", 5000),
    ("bn_alarm", 500),
    ("bn_alarm", 5000),
    ("bn_win95pts", 500),
    ("bn_win95pts", 5000),
    ("shop_world/world0", 1000),
    ("shop_world/world1", 1000),
    ("soybean", None),
)
PHRASES = "failure_phrases"
SETS = (*TEXTS, *dict.fromkeys(name for name, _ in RECORDS), PHRASES)


def text_rankings(folder: Path, peer: TextPeer) -> dict[str, list[str]]:
    """Return the ten best documents of each judged query without those it must not find."""
    corpus = read_lines(folder / "corpus.jsonl")
    judged = read_judgements(folder / "qrels.tsv")
    queries = [row for row in read_lines(folder / "queries.jsonl") if row["id"] in judged]
    ids = [row["id"] for row in corpus]
    scores = peer([row["text"] for row in corpus], [row["text"] for row in queries])
    rankings = {}
    for row, scored in zip(queries, scores, strict=True):
        skip = set(row.get("skip") or ())
        order = np.argsort(-scored, kind="stable")[: TOP + len(skip)]
        rankings[row["id"]] = [ids[at] for at in order if ids[at] not in skip][:TOP]
    return rankings


def text_row(folder: Path) -> list[float]:
    """Return the number of queries, and nDCG@10 of ours, of ours learned, and of each peer."""
    words, judged = load_vocabulary(), read_judgements(folder / "qrels.tsv")
    ours = [measure_collection(folder, words, learn=on) for on in (False, True)]
    peers = [score_rankings(text_rankings(folder, peer), judged) for peer in TEXT_PEERS.values()]
    return [ours[0]["queries"], *(scores["ndcg@10"] for scores in (*ours, *peers))]


def top_shares(ranked: Ranked, truth: Sequence[str]) -> list[float]:
    """Return how often the truth is first, and how often it is among the first three."""
    pairs = list(zip(ranked, truth, strict=True))
    return [sum(true in row[:cut] for row, true in pairs) / len(pairs) for cut in (1, 3)]


def record_row(folder: Path, stored: int | None) -> list[Any]:
    """Return the number of questions, and top-1 and top-3 of ours and of each peer."""
    ours = measure_diagnosis(folder, stored=stored)
    rounds = read_rounds(folder, stored=stored)
    truth = [question.cause for each in rounds for question in each.questions]
    row = [ours["queries"], ours["hit@1"], ours["hit@3"]]
    for peer in RECORD_PEERS.values():
        answers = [
            answer
            for each in rounds
            for answer in peer(each.stored, [question.asked for question in each.questions])
        ]
        row += top_shares(answers, truth)
    return row


def phrase_row(folder: Path) -> list[Any]:
    """Return the number of questions, and top-1 and top-3 of ours and of each peer."""
    ours = measure_phrases(folder / "records.jsonl")
    rows = read_lines(folder / "records.jsonl")
    stored, asked = ([row for row in rows if row["part"] == part] for part in ("train", "dev"))
    texts, labels = [row["text"] for row in stored], [row["label"] for row in stored]
    shares: list[float] = []
    for peer in PHRASE_PEERS.values():
        ranked = peer(texts, labels, [row["text"] for row in asked])
        shares += top_shares(ranked, [row["label"] for row in asked])
    return [len(asked), ours["hit@1"], ours["hit@3"], *shares]


def line(name: str, row: Sequence[float]) -> str:
    """Return one row of the table: its name, its number of questions, its figures."""
    figures = "".join(f"{each:14.4f}" for each in row[1:])
    return f"{name:26}{row[0]:8.0f}{figures}"


def head(name: str, columns: Sequence[str]) -> str:
    """Return the head over such rows."""
    return f"\n{name:26}{'asked':>8}" + "".join(f"{column:>14}" for column in columns)


def pairs(names: Sequence[str]) -> list[str]:
    """Return the heads of two columns a name."""
    return [f"{name}{cut}" for name in names for cut in (" 1", " 3")]


def rows_of(data: Path, wanted: set[str]) -> Iterator[str]:
    """Yield the lines of the whole table."""
    yield head("texts, nDCG@10", ["ours", "ours learned", *TEXT_PEERS])
    for name in TEXTS:
        if name in wanted:
            yield line(name, text_row(data / name))
    yield head("records, top 1 and top 3", pairs(["ours", *RECORD_PEERS]))
    for name, stored in RECORDS:
        if name in wanted:
            yield line(f"{name} {stored or ''}", record_row(data / name, stored))
    yield head("phrases, top 1 and top 3", pairs(["ours", *PHRASE_PEERS]))
    if PHRASES in wanted:
        yield line(PHRASES, phrase_row(data / PHRASES))


def data_folder(given: Path | None, environment: Mapping[str, str]) -> Path | None:
    """Return the folder that is given, else the one that BAYBOOK_DATA names, else None."""
    named = environment.get("BAYBOOK_DATA")
    return given or (Path(named) if named else None)


def main(show: Callable[[str], None] = print) -> None:
    """Print the table, a row as soon as it is there."""
    parser = argparse.ArgumentParser(description="ours beside plain libraries")
    parser.add_argument("data", nargs="?", type=Path, help="default: BAYBOOK_DATA")
    parser.add_argument("--only", nargs="+", choices=SETS, default=SETS, metavar="NAME")
    given = parser.parse_args()
    folder = data_folder(given.data, os.environ)
    if folder is None or not folder.is_dir():
        parser.error(f"expected DATA_FOLDER or BAYBOOK_DATA to name a folder, got {folder}")
    for text in rows_of(folder, set(given.only)):
        show(text)


if __name__ == "__main__":
    main()

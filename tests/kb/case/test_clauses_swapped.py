"""Statements, the same said otherwise, and their contraries: the tokens tell them apart."""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from kb.case.clauses import clause_tokens

SOURCES = Path(__file__).resolve().parents[2] / "sources"
TRIPLES: list[dict[str, Any]] = tomllib.loads(
    (SOURCES / "swapped_triples.toml").read_text(encoding="utf-8")
)["triple"]


def overlap(a: str, b: str) -> float:
    first, second = set(clause_tokens(a)), set(clause_tokens(b))
    return len(first & second) / len(first | second) if first | second else 0.0


def test_there_are_triples_of_every_system():
    assert len(TRIPLES) >= 100
    assert len({row["system"] for row in TRIPLES}) == 12


def test_at_least_90_percent_of_paraphrases_are_nearer_than_the_contrary():
    wrong = [
        row["statement"]
        for row in TRIPLES
        if overlap(row["statement"], row["paraphrase"]) <= overlap(row["statement"], row["swapped"])
    ]

    assert len(wrong) <= 0.1 * len(TRIPLES), wrong


@pytest.mark.parametrize("row", TRIPLES, ids=lambda row: row["statement"])
def test_a_statement_and_its_contrary_have_different_tokens(row: dict[str, Any]):
    assert set(clause_tokens(row["statement"])) != set(clause_tokens(row["swapped"]))


def test_at_most_5_percent_share_an_observation_with_their_contrary():
    def observed(text: str) -> set[str]:
        return {token for token in clause_tokens(text) if ":" in token}

    shared = [
        row["statement"] for row in TRIPLES if observed(row["statement"]) & observed(row["swapped"])
    ]

    assert len(shared) <= 0.05 * len(TRIPLES), shared

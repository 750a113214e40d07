"""Swapped statements against the whole score, among the demonstration's cases. Own triples."""

import tomllib
from datetime import date
from pathlib import Path

import pytest

from kb.case.casefile import read_folder
from kb.case.model import Job, JobState
from kb.case.terms import load_vocabulary
from kb.retrieval.features import case_features
from kb.retrieval.index import CaseIndex
from kb.store.migrate import bundled

SOURCES = Path(__file__).resolve().parents[2] / "sources"
SETS = {
    "own": ("swapped_triples.toml", "triple", 0.95),
    "blind, first": ("swapped_blind.toml", "triple", 0.95),
    "blind, unseen": ("swapped_blind.toml", "unseen", 0.90),
}


def asked(text, case="Q"):
    job = Job(id=case, opened=date(2026, 1, 1), state=JobState.OPEN, lines=(text,))
    return case_features(job, load_vocabulary())


@pytest.fixture(scope="module")
def shop():
    words = load_vocabulary()
    return [case_features(job, words) for job in read_folder(bundled("seed_cases"))[0]]


@pytest.mark.parametrize("name", SETS)
def test_a_paraphrase_beats_the_contrary_which_loses_a_third_of_its_likeness(name, shop):
    file, table, least = SETS[name]
    rows = tomllib.loads((SOURCES / file).read_text("utf-8"))[table]
    assert len(rows) >= 80
    index = CaseIndex().fit(
        [*shop, *(asked(row["statement"], f"T{at:03}") for at, row in enumerate(rows))]
    )
    wrong, kept = [], []
    for at, row in enumerate(rows):
        case = index.ids_.index(f"T{at:03}")
        said, alike, swapped = (
            index.scores(asked(row[key]))[case] for key in ("statement", "paraphrase", "swapped")
        )
        wrong += [row["statement"]] if alike <= swapped else []
        kept += [row["statement"]] if swapped > 0.7 * said else []
    assert len(wrong) <= (1 - least) * len(rows), wrong
    assert len(kept) <= 0.02 * len(rows), kept

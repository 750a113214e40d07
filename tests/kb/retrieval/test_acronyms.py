import numpy as np
import pytest

from kb.retrieval.acronyms import initials, long_forms, runs
from kb.retrieval.spelling import fit_spelling, spelled_words

TEXTS = [
    f"{verb} {what} {where}"
    for verb in ("repair", "check", "clean")
    for what in ("air conditioner", "a/c", "auto greaser", "autogreaser", "lamp")
    for where in ("on deck", "in cab", "at rear")
]


@pytest.fixture(scope="module")
def spelling():
    found = fit_spelling(TEXTS)
    assert found is not None
    return found


def likeness(spelling, first, second):
    return float(spelling.vector(first) @ spelling.vector(second))


@pytest.mark.parametrize(
    ("short", "long"), [("a/c", "air conditioner"), ("autogreaser", "auto greaser")]
)
def test_initials_and_words_run_together_stand_for_their_words(spelling, short, long):
    assert likeness(spelling, short, long) > 0.4


def test_a_word_alone_does_not_stand_for_the_initials(spelling):
    row = spelling.alike[[spelling.words["air"]]].toarray()[0]
    assert row[spelling.words["ac"]] < 0.1


def test_initials_between_other_neighbours_stand_for_nothing():
    told = [spelled_words(text) for text in TEXTS]
    words = {word: at for at, word in enumerate(sorted({w for row in told for w in row}))}

    def strangers(_, wide):
        return _Rows(np.eye(len(wide)))

    found = long_forms(told, words, neighbours=strangers, likeness=(0.03, 0.06))
    assert (words["autogreaser"], words["auto"]) in found
    assert (words["ac"], words["air"]) not in found


class _Rows:
    """Dense rows that answer like sparse ones."""

    def __init__(self, rows):
        self.rows = rows

    def __getitem__(self, at):
        return _Rows(self.rows[at])

    def multiply(self, other):
        return self.rows * other.rows


def test_runs_come_two_and_three_at_a_time():
    assert list(runs(["a", "b"])) == [("a", "b")]
    assert initials(("change", "out")) == "co"

"""The peers: what a plain library does on the same texts and the same records.

Each text peer takes the stored texts and the asked ones and gives one row of scores a question,
larger is better; each record peer gives the stored causes of a question, most likely first. None
is tuned: numbers are the libraries' defaults but where it is said.
"""

import re
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import bm25s
import numpy as np
from numpy.typing import NDArray
from sklearn.feature_extraction.text import CountVectorizer, TfidfVectorizer
from sklearn.naive_bayes import ComplementNB, MultinomialNB
from sklearn.neighbors import KNeighborsClassifier
from sklearn.preprocessing import KBinsDiscretizer

from kb.retrieval.features import CaseFeatures

Floats = NDArray[np.float64]
TextPeer = Callable[[Sequence[str], Sequence[str]], Iterator[Floats]]
Ranked = list[list[str]]
RecordPeer = Callable[[Sequence[CaseFeatures], Sequence[CaseFeatures]], Ranked]

WORDS = {"ngram_range": (1, 2)}
LETTERS = {"analyzer": "char_wb", "ngram_range": (3, 5)}
# Neighbours that vote: of 5, 15 and 30 the best for the peer on most of the public record sets. Equal
# parts that a reading's range is cut into: our choice, common practice.
NEIGHBOURS = 15
BINS = 5

# --- texts ---------------------------------------------------------------------------------------


def by_tfidf(
    stored: Sequence[str], asked: Sequence[str], *kinds: dict[str, Any]
) -> Iterator[Floats]:
    """Yield the mean of the cosines of scikit-learn's TF-IDF, one a kind of terms."""
    spaces = [TfidfVectorizer(**kind) for kind in kinds]
    rows = [space.fit_transform(stored).T.tocsr() for space in spaces]
    queries = [space.transform(asked) for space in spaces]
    for at in range(len(asked)):
        parts = [(q[at] @ row).toarray()[0] for q, row in zip(queries, rows, strict=True)]
        yield np.asarray(np.mean(parts, axis=0), np.float64)


def tfidf_words(stored: Sequence[str], asked: Sequence[str]) -> Iterator[Floats]:
    """Words and pairs of words."""
    return by_tfidf(stored, asked, WORDS)


def tfidf_letters(stored: Sequence[str], asked: Sequence[str]) -> Iterator[Floats]:
    """The same, and runs of 3 to 5 letters inside words."""
    return by_tfidf(stored, asked, WORDS, LETTERS)


def bm25(stored: Sequence[str], asked: Sequence[str]) -> Iterator[Floats]:
    """Yield the scores of bm25s, with its own words, stop words and constants."""
    index = bm25s.BM25()
    index.index(bm25s.tokenize(list(stored), show_progress=False), show_progress=False)
    told = bm25s.tokenize(list(asked), return_ids=False, show_progress=False)
    for words in told:
        known = [word for word in words if word in index.vocab_dict]
        yield index.get_scores(known) if known else np.zeros(len(stored))


def fts5(stored: Sequence[str], asked: Sequence[str]) -> Iterator[Floats]:
    """Yield the scores of SQLite's full-text index for any of the words of a question."""
    with sqlite3.connect(":memory:") as base:
        base.execute("CREATE VIRTUAL TABLE stored USING fts5(told)")
        rows = [(number, text) for number, text in enumerate(stored, start=1)]
        base.executemany("INSERT INTO stored(rowid, told) VALUES (?, ?)", rows)
        for text in asked:
            scores = np.zeros(len(stored))
            words = " OR ".join(f'"{word}"' for word in re.findall(r"\w+", text))
            if words:
                find = "SELECT rowid, bm25(stored) FROM stored WHERE stored MATCH ?"
                for number, score in base.execute(find, (words,)):
                    scores[number - 1] = -score
            yield scores


TEXT_PEERS: dict[str, TextPeer] = {
    "tf-idf words": tfidf_words,
    "+ letters": tfidf_letters,
    "bm25s": bm25,
    "fts5": fts5,
}

# --- records -------------------------------------------------------------------------------------


def one_hot(
    stored: Sequence[CaseFeatures], asked: Sequence[CaseFeatures]
) -> tuple[list[dict[str, str]], list[dict[str, str]]]:
    """Return each record as value by field, what is not recorded left out.

    A reading becomes the fifth of the stored range that it lies in, by count.
    """
    bins: dict[str, KBinsDiscretizer] = {}
    for key in sorted({measure.key for case in stored for measure in case.measures}):
        values = [[m.value] for case in stored for m in case.measures if m.key == key]
        cut = KBinsDiscretizer(BINS, encode="ordinal", quantile_method="averaged_inverted_cdf")
        bins[key] = cut.fit(values)

    def fields(case: CaseFeatures) -> dict[str, str]:
        told = {f"{token.part} {token.field}": token.value for token in case.tokens}
        read = [m for m in case.measures if m.key in bins]
        return told | {f"reading {m.key}": str(bins[m.key].transform([[m.value]])) for m in read}

    return [fields(case) for case in stored], [fields(case) for case in asked]


def naive_bayes(stored: Sequence[CaseFeatures], asked: Sequence[CaseFeatures]) -> Ranked:
    """Rank by counts of each value among the records of a cause that recorded its field.

    Laplace's one is added to each count; a field that a record leaves out has no say in it.
    """
    rows, questions = one_hot(stored, asked)
    space = CountVectorizer(analyzer=lambda row: list(row.items()))
    table = space.fit_transform(rows)
    field_of = [field for field, _ in space.get_feature_names_out()]
    same = np.array([[one == other for other in field_of] for one in field_of], np.float64)
    causes, cause_of = np.unique([case.cause or "" for case in stored], return_inverse=True)
    member = np.eye(len(causes))[cause_of]
    counts = member.T @ table.toarray()
    shares = np.log((counts + 1) / (counts @ same + same.sum(axis=0)))
    scores = space.transform(questions) @ shares.T + np.log(member.mean(axis=0))
    return best_first(scores, causes)


def nearest(stored: Sequence[CaseFeatures], asked: Sequence[CaseFeatures]) -> Ranked:
    """Rank by the vote of the nearest records, by the cosine of TF-IDF weighted values."""
    rows, questions = one_hot(stored, asked)
    space = TfidfVectorizer(analyzer=lambda row: list(row.items()))
    size = min(NEIGHBOURS, len(rows))
    model = KNeighborsClassifier(size, metric="cosine", weights="distance")
    model.fit(space.fit_transform(rows), [case.cause for case in stored])
    return best_first(model.predict_proba(space.transform(questions)), model.classes_)


RECORD_PEERS: dict[str, RecordPeer] = {"naive Bayes": naive_bayes, "nearest": nearest}


def best_first(scores: Any, names: Any) -> Ranked:
    """Return the names of each row of scores, best first, ties in the order of the names."""
    return [[str(names[at]) for at in np.argsort(-row, kind="stable")] for row in scores]


# --- phrases -------------------------------------------------------------------------------------


def nearest_phrase(texts: Sequence[str], labels: Sequence[str], asked: Sequence[str]) -> Ranked:
    """Rank the labels by their stored phrase that is most like the question."""
    names, label_of = np.unique(labels, return_inverse=True)
    scores = []
    for row in tfidf_letters(texts, asked):
        best = np.full(len(names), -1.0)
        np.maximum.at(best, label_of, row)
        scores.append(best)
    return best_first(scores, names)


def fitted_phrase(
    model: Any, texts: Sequence[str], labels: Sequence[str], asked: Sequence[str]
) -> Ranked:
    """Rank the labels by a naive Bayes of scikit-learn on counts of words and of letters."""
    both = [CountVectorizer(**kind) for kind in (WORDS, LETTERS)]
    table = np.hstack([space.fit_transform(texts).toarray() for space in both])
    model.fit(table, labels)
    told = np.hstack([space.transform(asked).toarray() for space in both])
    return best_first(model.predict_log_proba(told), model.classes_)


def multinomial(texts: Sequence[str], labels: Sequence[str], asked: Sequence[str]) -> Ranked:
    """Rank by the multinomial naive Bayes."""
    return fitted_phrase(MultinomialNB(), texts, labels, asked)


def complement(texts: Sequence[str], labels: Sequence[str], asked: Sequence[str]) -> Ranked:
    """Rank by the complement naive Bayes."""
    return fitted_phrase(ComplementNB(), texts, labels, asked)


PHRASE_PEERS = {"nearest": nearest_phrase, "multinomial": multinomial, "complement": complement}

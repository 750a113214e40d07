"""Ranking on judged collections, beside scikit-learn's TF-IDF on the same queries.

Run: ``python -m tests.benchmarks.bench_text FOLDER ...``; each folder holds ``corpus.jsonl``,
``queries.jsonl`` and ``qrels.tsv``. Learned: with the closed fields of the stored records, the
documents that a query must not find left out of the learning. The peer is the mean of the cosines of words 1-2 and of
character n-grams 3-5 inside words, both with scikit-learn's defaults.
"""

import sys
from pathlib import Path

import numpy as np
from sklearn.feature_extraction.text import TfidfVectorizer

from kb.case.terms import load_vocabulary
from kb.diagnosis.measure import score_rankings
from kb.workflow.trials import measure_collection, read_judgements, read_lines


def peer_scores(folder: Path) -> dict[str, float]:
    """Return the ranking measures of scikit-learn's TF-IDF."""
    corpus = read_lines(folder / "corpus.jsonl")
    judged = read_judgements(folder / "qrels.tsv")
    queries = [row for row in read_lines(folder / "queries.jsonl") if row["id"] in judged]
    ids = [row["id"] for row in corpus]
    total = np.zeros((len(queries), len(ids)))
    for options in (
        {"ngram_range": (1, 2)},
        {"analyzer": "char_wb", "ngram_range": (3, 5)},
    ):
        space = TfidfVectorizer(**options)
        rows = space.fit_transform([row["text"] for row in corpus])
        total += (space.transform([row["text"] for row in queries]) @ rows.T).toarray() / 2
    rankings = {}
    for row, scores in zip(queries, total, strict=True):
        skip = set(row.get("skip") or ())
        order = np.lexsort((np.arange(len(ids)), -scores))[: 10 + len(skip)]
        rankings[row["id"]] = [ids[at] for at in order if ids[at] not in skip][:10]
    return score_rankings(rankings, judged)


def main() -> None:
    """Print one line a folder."""
    print(f"{'collection':22}{'queries':>8}{'ours':>9}{'learned':>9}{'peer':>9}   nDCG@10")
    words = load_vocabulary()
    for name in sys.argv[1:]:
        folder = Path(name)
        ours, learned = (measure_collection(folder, words, learn=on) for on in (False, True))
        row = [each["ndcg@10"] for each in (ours, learned, peer_scores(folder))]
        figures = "".join(f"{value:9.4f}" for value in row)
        print(f"{folder.name:22}{ours['queries']:8.0f}{figures}", flush=True)


if __name__ == "__main__":
    main()

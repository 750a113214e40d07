"""The words that belong to a cause: of its closed cases, and of the catalogue."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.case.terms import Vocabulary
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import ANALYZERS, query_text
from kb.retrieval.similarity import SAID_SHARE, WORD_SHARE
from kb.retrieval.vectors import TextSpace

Floats = NDArray[np.float64]

# Nats for a cosine of 1 with the catalogue's words for a cause and its cases' words (our choice).
TEXT_WEIGHT: Final = 45.0


def catalogue_text(words: Vocabulary, name: str) -> str:
    """Return what the catalogue says of a cause; of one that the shop added, its name."""
    row = words.causes.get(name)
    if row is None:
        return name
    complaints = [words.symptoms[key].say for key in row.complaints]
    return "\n".join([row.name, row.telling, row.part.replace("_", " "), *complaints])


def fit_texts(
    cases: Sequence[CaseFeatures], causes: Sequence[str], words: Vocabulary
) -> dict[str, TextSpace]:
    """Return the spaces of what came in and what was found, one document a cause."""
    said: defaultdict[str, list[str]] = defaultdict(list)
    told: defaultdict[str, list[str]] = defaultdict(list)
    for case in sorted(cases, key=lambda case: case.case):
        if case.cause is not None:
            said[case.cause].append(case.said)
            told[case.cause].append(case.told)
    came_in = ["\n".join([*said[name], catalogue_text(words, name)]) for name in causes]
    found = ["\n".join([*told[name], catalogue_text(words, name)]) for name in causes]
    return {
        f"{name} {kind}": TextSpace(analyzer).fit(texts)
        for name, texts in (("said", came_in), ("told", found))
        for kind, analyzer in ANALYZERS.items()
    }


def text_evidence(spaces: Mapping[str, TextSpace], query: CaseFeatures, prior: Floats) -> Floats:
    """Return what the words of a job say of each cause in nats, shape ``(n_causes,)``.

    Parameters
    ----------
    spaces : mapping
        As ``fit_texts`` gives them.
    query : CaseFeatures
        The job.
    prior : array of shape (n_causes,)
        Share of each cause, over which the average is 0.
    """
    text = query_text(query)
    total = np.zeros(len(prior))
    if not text.strip():
        return total
    for key, space in spaces.items():
        name, _, kind = key.partition(" ")
        share = SAID_SHARE if name == "said" else 1 - SAID_SHARE
        share *= WORD_SHARE if kind == "word" else 1 - WORD_SHARE
        total += share * space.cosine(space.query(text))
    return TEXT_WEIGHT * (total - float(prior @ total))

"""The words that belong to a cause: of its closed cases, and of the catalogue."""

from collections import defaultdict
from collections.abc import Sequence

from kb.case.terms import Vocabulary
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import ANALYZERS
from kb.retrieval.vectors import TextSpace


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

"""What the shop learned to read off the words of a job about its cause."""

from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex, query_text

Floats = NDArray[np.float64]

# The closed field that names the cause.
CAUSE_FIELD: Final = "cause"
# The part of the evidence that it makes.
LEARNED: Final = "learned"
# Share that a cause's own words keep where the learned field reads the same words better: a
# fit of all weights on public phrases gives them a twentieth of the learned part's (our choice).
BESIDE_LEARNED: Final = 0.1


def learned_evidence(
    index: CaseIndex, query: CaseFeatures, causes: Mapping[str, int]
) -> Floats | None:
    """Return ``ln P(cause | words) - ln P(cause)`` by cause in nats, shape ``(n_causes,)``.

    A cause that was not learned stands at 0, where "something else" stands. None where nothing
    was learned of causes, or no term of the job is known.

    Parameters
    ----------
    index : CaseIndex
        The closed cases, with what was learned of their fields attached.
    query : CaseFeatures
        The job.
    causes : mapping of str to int
        Number of each cause.
    """
    learned = index.stored_fields.learned if index.stored_fields is not None else None
    fields = learned.fields if learned is not None else ()
    model = next((row for row in fields if row.field == CAUSE_FIELD and row.single), None)
    point = learned.point(query_text(query)) if learned is not None and model else None
    if model is None or point is None:
        return None
    ratio = model.log_chances(point) - np.log(model.prior)
    found = np.zeros(len(causes))
    for value, nats in zip(model.values, ratio, strict=True):
        if value in causes:
            found[causes[value]] = nats
    return found

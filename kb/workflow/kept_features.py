"""What the index compares of the closed jobs: kept, and made anew only for jobs that changed."""

import logging
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Final

from kb.case.model import Job
from kb.case.terms import Vocabulary
from kb.retrieval.feature_file import read_features, write_features
from kb.retrieval.feature_table import FeatureTable
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.suggest import witness_features

# Jobs up to which the missing ones are asked for by their ids; of more, all are read (our choice:
# a list of ids must fit into one question).
_MOST_ASKED: Final = 500
# File of the features beside the database.
FEATURES: Final = "features.npz"
logger = logging.getLogger(__name__)


def features_now(
    unit: UnitOfWork, words: Vocabulary, *, altitude_m: float, folder: Path | None
) -> FeatureTable:
    """Return the features of all witnesses that ``unit`` sees, each with the hash of its job.

    Parameters
    ----------
    unit : UnitOfWork
        Which reads.
    words : Vocabulary
        The trade's words and the shop's.
    altitude_m : float
        The shop's altitude in metres.
    folder : Path or None
        Where features are kept; None keeps none.
    """
    marks = unit.jobs.witness_marks()
    stamp = {"terms": words.shop.mark, "altitude_m": altitude_m}
    kept = read_features(folder / FEATURES, stamp) if folder is not None else None
    table = FeatureTable.of(()) if kept is None else _still_so(kept, marks)
    missing = marks.keys() - set(table.cases)
    jobs = _witnesses(unit, missing)
    for job_id in sorted(unit.jobs.damaged):
        logger.warning("left out, changed on the disk: %s", job_id)
    made = [witness_features(job, words, altitude_m) for job in jobs]
    table = table.with_others(FeatureTable.of(made, [marks[job.id] for job in jobs]))
    if folder is not None and (kept is None or kept.marks != table.marks):
        # Where there is no room, none are kept.
        with suppress(OSError):
            write_features(folder / FEATURES, table, stamp)
    return table


def _still_so(kept: FeatureTable, marks: Mapping[str, str]) -> FeatureTable:
    """Return those of the kept features whose jobs are as they were."""
    pairs = enumerate(zip(kept.cases, kept.marks, strict=True))
    rows = [row for row, (case, mark) in pairs if marks.get(case) == mark]
    return kept if len(rows) == len(kept) else kept.take(rows)


def _witnesses(unit: UnitOfWork, ids: set[str]) -> list[Job]:
    """Return the sound ones of the witnesses of these ids."""
    if len(ids) <= _MOST_ASKED:
        return list(unit.jobs.some(sorted(ids)))
    return [job for job in unit.jobs.witnesses() if job.id in ids]

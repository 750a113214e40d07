"""What a rebuild learns of the closed jobs, and from which of them where they are very many."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from kb.case.model import Job
from kb.diagnosis.calibration import Calibration
from kb.retrieval.feature_chunks import FeatureChunks
from kb.retrieval.features import CaseFeatures
from kb.retrieval.learned import Learned
from kb.retrieval.sample import Sample, evenly_drawn
from kb.retrieval.weigh import fit_weighed, weighed_from
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.calibrating import MOST_CALIBRATED, calibrated
from kb.workflow.kept_features import Making, features_now
from kb.workflow.suggest import witness_features

# Closed jobs from which fields and spellings are learned; more would take many minutes (our choice).
MOST_LEARNED: Final = 20_000
# Jobs that are asked for at once by their ids (our choice).
_AT_ONCE: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """What a rebuild learns from: all features, those it learns from, the newest own jobs."""

    chunks: FeatureChunks
    cases: tuple[CaseFeatures, ...]
    newest: tuple[Job, ...]
    sample: Sample


@dataclass(frozen=True, slots=True, kw_only=True)
class Lessons:
    """What was learned, None of too few jobs, the numbers of the chances, and from which jobs."""

    learned: Learned | None
    numbers: Calibration
    samples: dict[str, Sample]


def material(unit: UnitOfWork, making: Making) -> Material:
    """Return what a rebuild learns from, of what ``unit`` sees."""
    chunks = features_now(unit, making)
    ids, sample = evenly_drawn(chunks.cases, MOST_LEARNED)
    jobs = unit.jobs.witnesses() if sample.is_all else _some(unit, ids)
    cases = tuple(witness_features(job, making.words, making.altitude_m) for job in jobs)
    newest = unit.jobs.newest_own(MOST_CALIBRATED)
    return Material(chunks=chunks, cases=cases, newest=newest, sample=sample)


def _some(unit: UnitOfWork, ids: Sequence[str]) -> list[Job]:
    starts = range(0, len(ids), _AT_ONCE)
    return [job for start in starts for job in unit.jobs.some(ids[start : start + _AT_ONCE])]


def lessons(known: Material, making: Making) -> Lessons:
    """Return what the closed jobs teach."""
    learned = fit_weighed(known.cases)
    parts = learned.parts if learned else {}
    numbers = calibrated(known.newest, making.words, altitude_m=making.altitude_m, parts=parts)
    newest = Sample(
        taken=len(known.newest), among=len(known.chunks), how="the newest of this shop's own"
    )
    samples = {"chances": newest}
    if learned is not None:
        samples |= {"fields and spellings": known.sample, "weights": weighed_from(known.cases)}
    return Lessons(learned=learned, numbers=numbers, samples=samples)

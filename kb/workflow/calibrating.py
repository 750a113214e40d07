"""Fit the numbers of the chances on the shop's newest jobs, each asked as it was first written up."""

from collections.abc import Mapping, Sequence
from typing import Final

from kb.case.model import Job
from kb.case.standing import ELSEWHERE
from kb.case.terms import Vocabulary
from kb.diagnosis.calibrate import ClosedJob, calibrate
from kb.diagnosis.calibration import Calibration
from kb.retrieval.features import case_features
from kb.workflow.suggest import as_written_up, witness_features

# The newest closed jobs on which a rebuild fits the numbers; more would take minutes (our choice).
MOST_CALIBRATED: Final = 600


def calibrated(
    jobs: Sequence[Job],
    words: Vocabulary,
    *,
    altitude_m: float,
    parts: Mapping[str, float],
) -> Calibration:
    """Return the numbers fitted on the newest own jobs.

    Parameters
    ----------
    jobs : sequence of Job
        Closed jobs; those of other shops and all but the newest are left out.
    words : Vocabulary
        The trade's words and the shop's.
    altitude_m : float
        The shop's altitude in metres.
    parts : mapping
        Weights of the groups of parts of the evidence.
    """
    own = [job for job in jobs if job.origin not in ELSEWHERE]
    order = sorted(own, key=lambda job: (job.opened, job.id))
    pairs = [
        ClosedJob(
            stored=witness_features(job, words, altitude_m),
            asked=case_features(as_written_up(job), words, altitude_m=altitude_m),
        )
        for job in order[-MOST_CALIBRATED:]
    ]
    return calibrate(pairs, words, parts=parts)

"""Confirm a case of another shop: the same fault was found here, so it counts in full."""

from dataclasses import replace

from kb.case.model import Job, Origin
from kb.case.standing import ELSEWHERE
from kb.errors import ConflictError
from kb.store.unit_of_work import UnitOfWork


def confirm_here(unit: UnitOfWork, job_id: str, *, holds: bool = True) -> Job:
    """Mark a case of another shop as confirmed here, or take that back; a second time is nothing.

    Raises
    ------
    NotFoundError
        If there is no such job.
    ConflictError
        If it is the shop's own.
    """
    job = unit.jobs.get(job_id)
    if job.origin not in ELSEWHERE:
        raise ConflictError(
            f"expected a case of another shop, got {job_id}, which is this shop's own; "
            "its standing follows from its proof"
        )
    origin = Origin.CONFIRMED_HERE if holds else Origin.ANOTHER_SHOP
    if job.origin is origin:
        return job
    told = "counts in full" if holds else "counts a quarter"
    changed = replace(job, origin=origin)
    unit.jobs.save(changed, verb="confirmed here" if holds else "not confirmed here", what=told)
    return changed

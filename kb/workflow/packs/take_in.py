"""Take in a case pack of another shop: each case checked, the same one never twice."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import BinaryIO, Final

from kb.case.casefile import read_case
from kb.case.model import Job
from kb.case.terms import Vocabulary, load_vocabulary
from kb.errors import CaseFileError, PackError
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.packs.anonymous import bare
from kb.workflow.packs.container import Manifest, PackFile
from kb.workflow.packs.make import is_sender

# The verb of the line of history that each case gets.
TAKEN_IN: Final = "take in"


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedCase:
    """A case that was not taken, and why."""

    id: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadPack:
    """What a pack holds: cases ready to take in, and those refused."""

    manifest: Manifest
    jobs: tuple[Job, ...]
    refused: tuple[RefusedCase, ...]


def read_pack(
    stream: BinaryIO, *, today: date, progress: Callable[[int, int], None] | None = None
) -> ReadPack:
    """Return the cases of a pack; nothing is written.

    Raises
    ------
    PackError
        If the file is no sound pack; then none of it is used.
    """
    pack = PackFile(stream)
    words = load_vocabulary()
    jobs: list[Job] = []
    refused: list[RefusedCase] = []
    for key, body in pack.texts():
        try:
            jobs.append(_checked(key, body, words=words, today=today))
        except CaseFileError as error:
            where = f"line {error.line}: " if error.line else ""
            refused.append(RefusedCase(id=key, reason=f"{where}{error.reason}"))
        if progress is not None:
            progress(len(jobs) + len(refused), len(pack.manifest.hashes))
    return ReadPack(manifest=pack.manifest, jobs=tuple(jobs), refused=tuple(refused))


def _checked(key: str, body: bytes, *, words: Vocabulary, today: date) -> Job:
    """Return the case of one entry; raises CaseFileError where it is none that a pack may hold."""
    try:
        job = read_case(body.decode("utf-8"), name=key, words=words)
    except UnicodeDecodeError as error:
        raise CaseFileError("expected UTF-8 text, got other bytes", name=key) from error
    why = _why_refused(job, key, today)
    if why:
        raise CaseFileError(why, name=key)
    return job


def _why_refused(job: Job, key: str, today: date) -> str:
    if not job.is_case or job.closing is None:
        return "expected a closed case with a cause and a proof, got a job without"
    if job.opened > job.closing.closed or job.closing.closed > today:
        return f"expected a close between its opening and today, got {job.closing.closed}"
    clean = bare(job)
    if clean.id != key:
        return "expected the id that follows from its content, got another"
    if clean != job:
        return "expected no VIN, invoice, link, price, supplier, photo or exact day, got some"
    return ""


def new_in(unit: UnitOfWork, pack: ReadPack) -> tuple[Job, ...]:
    """Return the cases of a pack that the shop does not hold yet.

    Raises
    ------
    PackError
        If the pack was made in this very shop: its cases are here already.
    """
    if is_sender(unit, pack.manifest.sender):
        raise PackError(
            "expected another shop's pack, got one made here: its cases are here already"
        )
    known = set(unit.jobs.ids())
    return tuple(job for job in pack.jobs if job.id not in known)


def take_in(unit: UnitOfWork, pack: ReadPack) -> int:
    """Add the cases that the shop does not hold yet; return how many.

    Raises
    ------
    PackError
        If the pack was made in this very shop.
    """
    new = new_in(unit, pack)
    unit.jobs.add_many(new, verb=TAKEN_IN, what=f"given by {pack.manifest.shop}")
    return len(new)

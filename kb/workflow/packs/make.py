"""Make a case pack: which cases of the shop would go, what another shop would read in them."""

from collections import Counter
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final
from uuid import uuid4

from kb.case.casefile import write_case
from kb.case.model import Origin, Standing
from kb.case.standing import standing_of
from kb.case.terms import load_vocabulary
from kb.store.case_lists import CaseFilter
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.packs.anonymous import Candidate, candidate
from kb.workflow.packs.container import pack_bytes
from kb.workflow.packs.scan import Scanner
from kb.workflow.words import words_of

# Only what was done in this shop: passed on, another shop's case would come back as two, and an
# invented one would be taken for real.
OWN: Final = (Origin.SHOP, Origin.IMPORTED)
_ALL: Final = CaseFilter(origins=OWN)
# Setting with a random number that packs of one shop share, so that it knows its own again.
SENDER: Final = "pack sender"
# The verb of the line of history about a pack that was given.
GIVEN: Final = "give"
# Jobs read at once; bounds memory (our choice).
_CHUNK: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftPack:
    """A pack that is not written yet, to be looked through.

    ``going`` are the cases that would go, ``held_back`` those that would not, with the reason in
    each; ``no_case`` counts closed jobs without a cause and a proof or overturned since.
    """

    going: tuple[Candidate, ...]
    held_back: tuple[Candidate, ...]
    no_case: int

    @property
    def kinds(self) -> Mapping[str, int]:
        """How often each kind of thing was blanked in the cases that would go."""
        return Counter(row.kind for case in self.going for row in case.blanked)

    def file(self, shop: str, made: date, *, sender: str) -> bytes:
        """Return the file of the pack; ``sender`` as ``sender_of`` gives it.

        Raises
        ------
        PackError
            If there is no name, no case, or more than a pack holds.
        """
        texts = {row.job.id: write_case(row.job) for row in self.going}
        return pack_bytes(shop, made, texts, sender=sender)


def sender_of(unit: UnitOfWork) -> str:
    """Return the number that this shop's packs share; random, made when it is first asked for."""
    known = unit.settings.get(SENDER)
    if known is None:
        known = uuid4().hex
        unit.settings.set(SENDER, known)
    return known


def is_sender(unit: UnitOfWork, sender: str) -> bool:
    """Say whether a pack was made in this very shop."""
    return unit.settings.get(SENDER) == sender


def draft_pack(
    unit: UnitOfWork,
    *,
    wanted: CaseFilter = _ALL,
    without: Collection[str] = (),
    progress: Callable[[int], None] | None = None,
) -> DraftPack:
    """Return the pack of the shop's own cases that are ``wanted``; nothing is written.

    Parameters
    ----------
    unit : UnitOfWork
        To read from.
    wanted : CaseFilter
        Which closed jobs; those of other shops and invented ones never go.
    without : collection of str
        Ids of cases that the sender keeps back.
    progress : callable, optional
        Is told after some jobs how many they were.
    """
    words, shipped = words_of(unit), load_vocabulary()
    names = [row.name for row in unit.people.all()] + list(unit.history.writers())
    scanner = Scanner(shipped, names)
    ids = sorted(unit.case_lists.ids(wanted))
    rows: list[Candidate] = []
    no_case = 0
    for at in range(0, len(ids), _CHUNK):
        jobs = unit.jobs.some(ids[at : at + _CHUNK])
        cases = [job for job in jobs if job.is_case and standing_of(job) is not Standing.OVERTURNED]
        own = [job for job in cases if job.origin in OWN and job.id not in without]
        no_case += len(jobs) - len(cases)
        rows += [candidate(job, words=words, shipped=shipped, scanner=scanner) for job in own]
        if progress is not None:
            progress(len(jobs))
    going = {row.job.id: row for row in rows if not row.held_back}
    return DraftPack(
        going=tuple(going.values()),
        held_back=tuple(row for row in rows if row.held_back),
        no_case=no_case,
    )

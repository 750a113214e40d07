"""What guards a write: forms that were taken already, and the earlier states of a job."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from sqlalchemy import bindparam, delete, insert, select

from kb.case.casefile import write_case
from kb.case.model import Job
from kb.store.asked import Asked
from kb.store.columns import table_of
from kb.store.journal import Pen
from kb.store.shop_tables import EarlierStateRow, SentFormRow

# Earlier states kept of one job: undo and "what changed meanwhile" look back this far (our choice).
KEPT_STATES: Final = 20
# A form that waited longer than this in a browser is taken as a new one (our choice).
FORMS_KEPT: Final = timedelta(days=30)

# Every write runs these, so they are made once.
_FORMS, _STATES = table_of(SentFormRow), table_of(EarlierStateRow)
_SENDER: Final = Asked(select(SentFormRow.who).where(SentFormRow.form_id == bindparam("form")))
_ADD_FORM: Final = insert(_FORMS)
_DROP_FORMS: Final = delete(_FORMS).where(_FORMS.c.at < bindparam("before"))
_KEEP_STATE: Final = insert(_STATES)
_DROP_STATES: Final = delete(_STATES).where(
    (_STATES.c.job_id == bindparam("of")) & (_STATES.c.revision <= bindparam("last"))
)
_STATE_AT: Final = Asked(
    select(EarlierStateRow.case_file).where(
        (EarlierStateRow.job_id == bindparam("of")) & (EarlierStateRow.revision == bindparam("at"))
    )
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldBefore:
    """What a program sent before under one key, as a hash, and what it was told."""

    fingerprint: str
    answer: str


class SentForms:
    """Forms by the number that they were sent out with."""

    def __init__(self, pen: Pen) -> None:
        self._pen = pen

    def taken(self, form_id: str) -> bool:
        """Say whether a form of that number was taken before."""
        query = select(SentFormRow.form_id).where(SentFormRow.form_id == form_id)
        return self._pen.connection.scalar(query) is not None

    def sender_of(self, form_id: str) -> str | None:
        """Return who sent a taken form, None where none of that number was taken."""
        found: str | None = _SENDER.scalar(self._pen.connection, form=form_id)
        return found

    def job_of(self, form_id: str) -> str | None:
        """Return the job that a taken form wrote, None where it wrote none."""
        query = select(SentFormRow.job_id).where(SentFormRow.form_id == form_id)
        return self._pen.connection.scalar(query)

    def told(self, form_id: str) -> ToldBefore | None:
        """Return what a program was told, None where nothing of that number was taken from one."""
        query = select(SentFormRow.fingerprint, SentFormRow.answer).where(
            (SentFormRow.form_id == form_id)
            & SentFormRow.fingerprint.is_not(None)
            & SentFormRow.answer.is_not(None)
        )
        row = self._pen.connection.execute(query).mappings().one_or_none()
        return None if row is None else ToldBefore(**row)

    def add(self, form_id: str, job_id: str | None, told: ToldBefore | None = None) -> None:
        """Note that a form was taken, with what a program said and was told; old ones go."""
        who, at = self._pen.require()
        self._pen.connection.execute(_DROP_FORMS, {"before": at - FORMS_KEPT})
        row = {
            "form_id": form_id,
            "at": at,
            "who": who,
            "job_id": job_id,
            "fingerprint": told.fingerprint if told else None,
            "answer": told.answer if told else None,
        }
        self._pen.connection.execute(_ADD_FORM, row)


class EarlierStates:
    """Jobs as they stood before their last writes, as texts of case files."""

    def __init__(self, pen: Pen) -> None:
        self._pen = pen

    def keep(self, job: Job, revision: int) -> None:
        """Keep ``job`` as it stood at ``revision``; the oldest of more than twenty goes."""
        row = {"job_id": job.id, "revision": revision, "case_file": write_case(job)}
        self._pen.connection.execute(_KEEP_STATE, row)
        too_old = {"of": job.id, "last": revision - KEPT_STATES}
        self._pen.connection.execute(_DROP_STATES, too_old)

    def at(self, job_id: str, revision: int) -> str | None:
        """Return the case file of a job at ``revision``, None where it is not kept."""
        found: str | None = _STATE_AT.scalar(self._pen.connection, of=job_id, at=revision)
        return found

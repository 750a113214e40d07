"""Which photos belong to which job; the bytes lie in files under their hash."""

from dataclasses import dataclass
from typing import Final

from sqlalchemy import bindparam, func, insert, select

from kb.errors import NotFoundError
from kb.store.asked import Asked
from kb.store.journal import HistoryRepository, Pen
from kb.store.photo_files import StoredPhoto
from kb.store.shop_tables import JobPhotoRow, PhotoRow
from kb.store.tables import JobRow

# The verb of a photo's line of history; it writes no new state of the job.
PHOTO_VERB: Final = "photo"
_OF_JOB: Final = Asked(
    select(JobPhotoRow.content_hash, JobPhotoRow.caption)
    .where(JobPhotoRow.job_id == bindparam("of"))
    .order_by(JobPhotoRow.ordinal)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class JobPhoto:
    """A photo of a job with what it shows, in somebody's words."""

    content_hash: str
    caption: str = ""


class PhotoRepository:
    """The photos of one unit of work."""

    def __init__(self, pen: Pen, history: HistoryRepository) -> None:
        self._pen = pen
        self._history = history
        self._connection = pen.connection

    def add(self, job_id: str, stored: StoredPhoto, caption: str = "") -> None:
        """Add a stored photo to a job, with one line of history.

        The same photo with the same words, or with none, is there already and is not added twice.

        Raises
        ------
        NotFoundError
            If there is no such job.
        """
        self._pen.require()
        self._require_job(job_id)
        if any(
            row.content_hash == stored.content_hash and caption in {"", row.caption}
            for row in self.of(job_id)
        ):
            return
        self._know(stored)
        last = select(func.max(JobPhotoRow.ordinal)).where(JobPhotoRow.job_id == job_id)
        newest = self._connection.scalar(last)
        row = {
            "job_id": job_id,
            "ordinal": 0 if newest is None else newest + 1,
            "content_hash": stored.content_hash,
            "caption": caption,
        }
        self._connection.execute(insert(JobPhotoRow).values(row))
        self._history.add(PHOTO_VERB, job_id, caption)

    def _require_job(self, job_id: str) -> None:
        if self._connection.scalar(select(JobRow.id).where(JobRow.id == job_id)) is None:
            raise NotFoundError(
                f"expected the id of a job, got '{job_id}'; look at the list of jobs"
            )

    def _know(self, stored: StoredPhoto) -> None:
        if self._found(stored.content_hash) is None:
            row = {
                "content_hash": stored.content_hash,
                "media_type": stored.media_type,
                "size_bytes": stored.size_bytes,
            }
            self._connection.execute(insert(PhotoRow).values(row))

    def of(self, job_id: str) -> tuple[JobPhoto, ...]:
        """Return the photos of a job in the order they came."""
        return tuple(JobPhoto(**row) for row in _OF_JOB.named(self._connection, of=job_id))

    def get(self, content_hash: str) -> StoredPhoto:
        """Return what is known of the photo with that hash.

        Raises
        ------
        NotFoundError
            If there is none.
        """
        found = self._found(content_hash)
        if found is None:
            raise NotFoundError(
                f"expected a photo of a job, got '{content_hash[:80]}'; open it from its job"
            )
        return found

    def _found(self, content_hash: str) -> StoredPhoto | None:
        query = select(PhotoRow.content_hash, PhotoRow.media_type, PhotoRow.size_bytes).where(
            PhotoRow.content_hash == content_hash
        )
        row = self._connection.execute(query).mappings().one_or_none()
        return None if row is None else StoredPhoto(**row)

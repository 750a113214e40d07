"""Photos of a job: taken in the bay, kept without where and by whom, shown beside what they show."""

from pathlib import Path

from flask import Blueprint, Flask, current_app, redirect, request, url_for
from werkzeug.datastructures import FileStorage
from werkzeug.wrappers import Response

from kb.errors import ParseError
from kb.store.photo_files import StoredPhoto, keep_photo, read_photo
from kb.store.photos import JobPhoto
from web import db
from web.auth import needs
from web.jobs import Page, job_of, job_page
from web.rights import Right

bp = Blueprint("photos", __name__)
# Photos in one sending, and the bytes of all of them: four of a phone's largest (our choice).
MAX_PHOTOS = 4
MAX_BYTES = 40_000_000
_YEAR_SECONDS = 365 * 24 * 3600


def init_app(app: Flask) -> None:
    """Let the one form that carries photos be longer than the others."""

    @app.before_request
    def allow_photos() -> None:
        if request.endpoint == "photos.add":
            request.max_content_length = MAX_BYTES


def photo_folder() -> Path:
    """Return the folder of the photos."""
    return Path(current_app.config["HOME"]) / "photos"


@bp.app_template_global()
def job_photos(job_id: str) -> tuple[JobPhoto, ...]:
    """Return the photos of a job."""
    with db.store().read() as unit:
        return unit.photos.of(job_id)


def _kept(sent: list[FileStorage]) -> tuple[list[StoredPhoto], list[str]]:
    """Return the photos that could be kept, and why the others could not, by file name."""
    kept, refused = [], []
    for file in sent:
        try:
            kept.append(keep_photo(photo_folder(), file.read()))
        except ParseError as error:
            refused.append(f"{file.filename}: {error}")
    return kept, refused


def _refusal(sent: list[FileStorage]) -> str | None:
    if not sent:
        return "expected a photo, got none; take one or choose a file"
    if len(sent) > MAX_PHOTOS:
        return f"expected at most {MAX_PHOTOS} photos at once, got {len(sent)}; send the rest after"
    return None


@bp.post("/job/<job_id>/photo")
@needs(Right.WORK)
def add(job_id: str) -> Page:
    """Keep up to four photos of a job; what cannot be kept is told, the others are kept."""
    job = job_of(job_id)
    caption = request.form.get("caption", "").strip()
    sent = [file for file in request.files.getlist("photo") if file.filename]
    refusal = _refusal(sent)
    kept, refused = ([], [refusal]) if refusal else _kept(sent)
    if kept:
        with db.writing() as unit:
            for stored in kept:
                unit.photos.add(job_id, stored, caption)
    if not refused:
        return redirect(url_for("jobs.show", job_id=job_id) + "#photos")
    message = "; ".join([*refused, *([f"the other {len(kept)} kept"] if kept else [])])
    if job.closing is not None:
        raise ParseError(message)
    return job_page(job, {"caption": caption, "photo_error": message}), 400


@bp.get("/photo/<content_hash>")
@needs(Right.SEE)
def show(content_hash: str) -> Response:
    """Send the bytes of one photo, or with ``size=small`` its small picture.

    Under one hash they never change.
    """
    small = request.args.get("size") == "small"
    with db.store().read() as unit:
        stored = unit.photos.get(content_hash)
    # A photo is a few hundred kB: read whole, no file stays open behind a slow line.
    data = read_photo(photo_folder(), content_hash, small=small)
    answer = Response(data, mimetype=stored.media_type)
    answer.cache_control.private = True
    answer.cache_control.immutable = True
    answer.cache_control.max_age = _YEAR_SECONDS
    answer.set_etag(f"{content_hash}-small" if small else content_hash)
    return answer.make_conditional(request)

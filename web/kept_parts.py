"""Parts of a page that follow from a few values: drawn once, shown again while none has changed."""

import re
import secrets
import sys
from collections.abc import Callable, Hashable, Mapping
from contextlib import suppress
from threading import Lock
from typing import Any, Final, cast
from uuid import uuid4

from cachetools import LRUCache
from flask import Flask, current_app, render_template
from flask_wtf.csrf import generate_csrf
from markupsafe import Markup

from kb.case.model import Job
from kb.workflow.suggest import Suggestion
from web import db
from web.auth import person
from web.rights import Right

# Bytes of all parts: those of some hundred jobs at 40 kB, or of 40 weeks at 200 kB (our choice).
MOST_KEPT: Final = 8_000_000
_EXTENSION: Final = "baybook_kept_parts"
# Stands for the token of whoever looks; random, so that nobody can type it.
_TOKEN: Final = secrets.token_hex(16)
# Only a template writes this: in what somebody typed the quotes are escaped.
_FORM_ID: Final = re.compile(r'(name="form_id" value=")[0-9a-f]{32}(?=")')


class KeptParts:
    """The parts that were drawn last, by what they follow from; safe to share between threads."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._drawn: LRUCache[Hashable, str] = LRUCache(MOST_KEPT, sys.getsizeof)

    def get(self, key: Hashable) -> str | None:
        """Return a part as it was drawn, None where it was not or is no longer kept."""
        with self._lock:
            return self._drawn.get(key)

    def keep(self, key: Hashable, drawn: str) -> None:
        """Keep a part, unless it alone is larger than all may be."""
        with self._lock, suppress(ValueError):
            self._drawn[key] = drawn

    def clear(self) -> None:
        """Forget all parts."""
        with self._lock:
            self._drawn.clear()


def _kept() -> KeptParts:
    return cast(KeptParts, current_app.extensions[_EXTENSION])


def kept_part(
    template: str, follows_from: Hashable, values: Callable[[], Mapping[str, Any]]
) -> Markup:
    """Return a part of a page with fresh numbers for its forms.

    Parameters
    ----------
    template : str
        What draws it.
    follows_from : hashable
        Everything that the part shows or that decides what it shows, but the form's own fields.
    values : callable
        Gives what the template draws; asked only where the part is not kept.
    """
    token, key = generate_csrf(), (template, follows_from)
    drawn = _kept().get(key)
    if drawn is None:
        drawn = render_template(template, **values()).replace(token, _TOKEN)
        _kept().keep(key, drawn)
    fresh = _FORM_ID.sub(lambda found: found[1] + uuid4().hex, drawn.replace(_TOKEN, token))
    # A template drew it, which escapes what it is given.
    return Markup(fresh)  # noqa: S704 # nosec B704


def kept_pieces(job: Job, revision: int) -> Markup:
    """Return what was understood of a job, as its page shows it where no form was refused."""
    with db.store().read() as unit:
        settled = tuple(unit.settled.of(job.id))
    shown = (job, revision, settled, db.words().shop.mark, person().may(Right.WORK))
    values = {"job": job, "revision": revision, "typed": {}}
    return kept_part("_pieces.html", shown, lambda: values)


def kept_strips(job: Job, answers: Suggestion | None) -> Markup:
    """Return the readings of an open job as its page draws them."""
    causes = tuple(row.cause for row in answers.shown) if answers else ()
    fitted = db.memory().fitted()
    shown = (job, causes, fitted.state, fitted.terms, fitted.learned, db.words().shop.mark)
    return kept_part("_strips.html", shown, lambda: {"job": job, "answers": answers})


def init_app(app: Flask) -> None:
    """Make the parts known to the templates."""
    app.extensions[_EXTENSION] = KeptParts()
    app.add_template_global(kept_pieces)
    app.add_template_global(kept_strips)

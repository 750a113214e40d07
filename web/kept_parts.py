"""Parts of a page that follow from a few values: drawn once, shown again while none has changed."""

import re
import secrets
from collections.abc import Callable, Hashable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from itertools import chain
from threading import Lock
from typing import Any, Final, cast

from cachetools import LRUCache
from flask import Flask, current_app, render_template
from markupsafe import Markup

from web.form_session import form_token

# Bytes of all parts: those of some eighty jobs at 90 kB, or of 40 weeks at 200 kB (our choice).
MOST_KEPT: Final = 8_000_000
_EXTENSION: Final = "baybook_kept_parts"
# Stand for the token of whoever looks, for the number of a form, for the revision of a job and for
# a row; random, so that nobody can type them.
_TOKEN: Final = secrets.token_hex(16)
_NUMBER: Final = secrets.token_hex(16)
_REVISION: Final = secrets.token_hex(16)
_ROW: Final = secrets.token_hex(16)
# Only a template writes this: in what somebody typed the quotes are escaped.
_FORM_ID: Final = re.compile(r'(?<=name="form_id" value=")[0-9a-f]{32}(?=")')
# Hexadecimal digits of the number of a form.
_DIGITS: Final = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A part as it was drawn, what it follows from, and its rows by what each follows from.

    ``texts`` together are the part; the rows are some of them.
    """

    follows_from: Hashable
    texts: tuple[str, ...]
    rows: Mapping[Hashable, str]

    @property
    def size(self) -> int:
        """Return how many signs are kept, each a byte but for a few."""
        return sum(map(len, self.texts))


class KeptParts:
    """The parts that were drawn last, one a place; safe to share between threads."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._drawn: LRUCache[Hashable, Drawn] = LRUCache(MOST_KEPT, lambda drawn: drawn.size)

    def get(self, place: Hashable) -> Drawn | None:
        """Return what was drawn at a place, None where nothing was or it is no longer kept."""
        with self._lock:
            return self._drawn.get(place)

    def keep(self, place: Hashable, drawn: Drawn) -> None:
        """Keep a part instead of the one before, unless it alone is larger than all may be."""
        with self._lock, suppress(ValueError):
            self._drawn.pop(place, None)
            self._drawn[place] = drawn

    @property
    def size(self) -> int:
        """Return how many bytes all parts are."""
        with self._lock:
            return int(self._drawn.currsize)

    def clear(self) -> None:
        """Forget all parts."""
        with self._lock:
            self._drawn.clear()


class Pen:
    """Draws the rows of a part; a row that stood in the part before is taken from there."""

    def __init__(self, before: Mapping[Hashable, str], *, follows: Hashable, token: str) -> None:
        self._before, self._follows, self._token = before, follows, token
        self.rows: dict[Hashable, str] = {}
        self._shown: list[str] = []

    def row(self, follows_from: Hashable, draw: Callable[..., str], *values: Any) -> str:
        """Return what stands for a row as ``draw`` draws it of ``values``, until all is drawn.

        Parameters
        ----------
        follows_from : hashable
            Everything that the row shows, but what the part as a whole follows from.
        draw : callable
            A macro of the part's template.
        """
        key = (self._follows, follows_from)
        drawn = self._before.get(key) or self.rows.get(key)
        if drawn is None:
            drawn = self._without_own(draw(*values))
        self.rows[key] = drawn
        self._shown.append(drawn)
        return _ROW

    def drawn(self, text: str, follows_from: Hashable) -> Drawn:
        """Return a whole part, whose template wrote ``text``."""
        first, *others = self._without_own(text).split(_ROW)
        pairs = zip(self._shown, others, strict=True)
        return Drawn(follows_from=follows_from, texts=(first, *chain(*pairs)), rows=self.rows)

    def _without_own(self, text: str) -> str:
        return _FORM_ID.sub(_NUMBER, text.replace(self._token, _TOKEN))


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a part stands, ``name``; ``follows`` is what its rows follow from besides themselves."""

    name: Hashable
    follows: Hashable
    revision: int | None = None


def _kept() -> KeptParts:
    return cast(KeptParts, current_app.extensions[_EXTENSION])


def kept_part(
    template: str,
    follows_from: Hashable,
    values: Callable[[], Mapping[str, Any]],
    *,
    place: Place | None = None,
    keeps: bool = True,
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
    place : Place, optional
        Where only the last is kept, and whose rows the next one takes over; without one each is
        kept by what it follows from.
    keeps : bool
        Whether it is kept once it is drawn.
    """
    token = form_token()
    key = (template, place.name if place else follows_from)
    drawn = _kept().get(key)
    if drawn is None or drawn.follows_from != follows_from:
        pen = Pen(drawn.rows if drawn else {}, follows=place and place.follows, token=token)
        text = render_template(template, **values(), pen=pen, revision=_REVISION)
        drawn = pen.drawn(text, follows_from)
        if keeps:
            _kept().keep(key, drawn)
    text = "".join(drawn.texts).replace(_TOKEN, token)
    if place and place.revision is not None:
        text = text.replace(_REVISION, str(place.revision))
    # A template drew it, which escapes what it is given.
    return Markup(_with_numbers(text))  # noqa: S704 # nosec B704


def _with_numbers(text: str) -> str:
    """Return a part whose every form has a number of its own, all drawn from one reading."""
    first, *others = text.split(_NUMBER)
    drawn = secrets.token_hex(len(others) * _DIGITS // 2)
    numbers = (drawn[at : at + _DIGITS] for at in range(0, len(drawn), _DIGITS))
    return "".join((first, *chain(*zip(numbers, others, strict=True))))


def init_app(app: Flask) -> None:
    """Make room for the parts."""
    app.extensions[_EXTENSION] = KeptParts()

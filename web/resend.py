"""A form that could not be taken yet: what was typed in it is carried along, never lost."""

from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import urlsplit
from uuid import uuid4

from flask import render_template, request
from werkzeug.datastructures import MultiDict

from kb.errors import ParseError

# Before the names of carried fields, so that they never meet those of the form that carries them.
_MARK: Final = "typed."
# Fields that are carried at most: the longest form has some hundred (our choice).
MOST_FIELDS: Final = 1000
# Never carried and never shown again; a token is made anew.
SECRET_FIELDS: Final = frozenset({"csrf_token", "password", "pin", "present", "one_time", "secret"})
# Carried, but of no use to a reader: numbers of the form, the button that was pressed.
_HIDDEN_FIELDS: Final = frozenset({"form_id", "revision", "action"})


def local_path(typed: str | None, default: str = "/") -> str:
    """Return a path of this site as it was typed; ``default`` for anything that leads elsewhere."""
    path = typed or ""
    seen = all(letter.isprintable() and letter != "\\" for letter in path)
    if not seen or not path.startswith("/") or path.startswith("//"):
        return default
    try:
        parts = urlsplit(path)
    except ValueError:
        return default
    return default if parts.scheme or parts.netloc else path


@dataclass(frozen=True, slots=True, kw_only=True)
class Unsent:
    """A form that waits for somebody to sign in: where it goes, its fields in order."""

    action: str
    fields: tuple[tuple[str, str], ...]
    files: bool = False

    def renewed(self) -> "Unsent":
        """Return the same form under a number of its own."""
        fields = ((k, uuid4().hex if k == "form_id" else v) for k, v in self.fields)
        return replace(self, fields=tuple(fields))

    @property
    def shown(self) -> tuple[tuple[str, str], ...]:
        """What a reader would know again."""
        return tuple((k, v) for k, v in self.fields if v.strip() and k not in _HIDDEN_FIELDS)

    @property
    def marked(self) -> tuple[tuple[str, str], ...]:
        """The fields under the names that they are carried by."""
        return (("unsent", self.action), *((_MARK + name, value) for name, value in self.fields))


def _fields(form: MultiDict[str, str], mark: str = "") -> tuple[tuple[str, str], ...]:
    named = ((k.removeprefix(mark), v) for k, v in form.items(multi=True) if k.startswith(mark))
    return tuple((name, value) for name, value in named if name not in SECRET_FIELDS)


def of_request() -> Unsent:
    """Return the form of this request, to be sent again later.

    Raises
    ------
    ParseError
        If it has more fields than any form of this site.
    """
    if len(request.form) > MOST_FIELDS:
        raise ParseError(
            f"expected at most {MOST_FIELDS} fields in one form, got {len(request.form)}; "
            "open the page anew and send it again"
        )
    return Unsent(
        action=local_path(request.full_path if request.query_string else request.path),
        fields=_fields(request.form),
        files=any(file.filename for file in request.files.values()),
    )


def carried() -> Unsent | None:
    """Return the form that this request's form carries, None where it carries none."""
    action = local_path(request.form.get("unsent"), default="")
    return Unsent(action=action, fields=_fields(request.form, _MARK)) if action else None


def page(unsent: Unsent, title: str, message: str = "") -> str:
    """Return the page that shows what was typed, with the button that sends it."""
    return render_template("unsent.html", unsent=unsent, title=title, message=message)

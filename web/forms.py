"""What every form has in common: errors by field, prices as typed, the hidden fields."""

from collections.abc import Mapping
from dataclasses import dataclass
from secrets import token_hex
from typing import Final

from flask import Flask
from markupsafe import Markup

from kb.case.units import parse_number
from kb.errors import ParseError
from web.form_session import form_token

# A check of longer than a working week is a typing mistake (our choice).
MAX_MINUTES = 2400


@dataclass(frozen=True, slots=True, kw_only=True)
class FormErrors:
    """Messages by field name; empty where all is well."""

    by_field: Mapping[str, str]

    def __bool__(self) -> bool:
        return bool(self.by_field)


def cents_typed(text: str) -> int | None:
    """Return a typed price in cents; None where it is empty.

    Raises
    ------
    ValueError
        If it is no price.
    """
    cleaned = text.strip().replace(" ", "").lstrip("$€£")
    if not cleaned:
        return None
    if cleaned.count(",") == 1 and "." not in cleaned and len(cleaned.split(",")[1]) == 2:
        cleaned = cleaned.replace(",", ".")
    whole, _, part = cleaned.replace(",", "").partition(".")
    if not whole.isdigit() or len(part) > 2 or (part and not part.isdigit()) or len(whole) > 9:
        raise ValueError(text)
    return int(whole) * 100 + int((part + "00")[:2])


def no_price(typed: str) -> str:
    """Return what stands at a field whose text is no price."""
    return f"expected a price like 412.00, got '{typed[:20]}'"


def read_minutes(text: str) -> float | None:
    """Return typed minutes; None where it is empty.

    Raises
    ------
    ParseError
        If they are no minutes, or more than a check can take.
    """
    if not text.strip():
        return None
    minutes = parse_number(text)
    if not 0 <= minutes <= MAX_MINUTES:
        raise ParseError(f"expected 0 to {MAX_MINUTES} minutes, got {text.strip()[:20]}", text=text)
    return minutes


_FIELD: Final = Markup('<input type="hidden" name="%s" value="%s">')
_SLOT: Final = Markup("%s")


def hidden_fields(*names: str) -> Markup:
    """Return hidden fields of those names, whose values ``%`` fills in, escaped, all at once."""
    return _SLOT[:0].join(_FIELD % (name, _SLOT) for name in names)


# A job's page has some eighty forms.
_TWO: Final = hidden_fields("csrf_token", "form_id")
_THREE: Final = hidden_fields("csrf_token", "form_id", "revision")


def form_fields(revision: int | None = None, form_id: str | None = None) -> Markup:
    """Return the hidden fields of every form that writes.

    The token shows that the form is this site's own; ``form_id`` makes a second sending no second
    record; ``revision`` belongs in forms that overwrite, so that nobody's change is lost. A form
    that is shown again without having written anything keeps its ``form_id``.
    """
    token, number = form_token(), form_id or token_hex(16)
    return _TWO % (token, number) if revision is None else _THREE % (token, number, revision)


def init_app(app: Flask) -> None:
    """Make the hidden fields known to the templates."""
    app.add_template_global(form_fields)

"""Typed forms to values; what cannot be read comes back as errors by field, text untouched."""

from collections.abc import Mapping
from dataclasses import dataclass
from uuid import uuid4

from flask import Flask
from flask_wtf.csrf import generate_csrf
from markupsafe import Markup

from kb.case.model import AfterCheck, FixKind, Option, Proof
from kb.workflow.close import CloseAnswers


@dataclass(frozen=True, slots=True, kw_only=True)
class FormErrors:
    """Messages by field name; empty where all is well."""

    by_field: Mapping[str, str]

    def __bool__(self) -> bool:
        return bool(self.by_field)


def _cents(text: str) -> int | None:
    """Return a typed price in cents; None where it is empty, ValueError where it is no price."""
    cleaned = text.strip().replace(" ", "").lstrip("$€£")
    if not cleaned:
        return None
    if cleaned.count(",") == 1 and "." not in cleaned and len(cleaned.split(",")[1]) == 2:
        cleaned = cleaned.replace(",", ".")
    whole, _, part = cleaned.replace(",", "").partition(".")
    if not whole.isdigit() or len(part) > 2 or (part and not part.isdigit()) or len(whole) > 9:
        raise ValueError(text)
    return int(whole) * 100 + int((part + "00")[:2])


def _options(form: Mapping[str, str], errors: dict[str, str]) -> list[Option]:
    options = []
    for number in ("1", "2", "3"):
        what = form.get(f"option_{number}", "").strip()
        if not what:
            continue
        price = form.get(f"price_{number}", "")
        try:
            cents = _cents(price)
        except ValueError:
            errors[f"price_{number}"] = f"expected a price like 412.00, got '{price[:20]}'"
            cents = None
        options.append(
            Option(
                what=what,
                price_cents=cents,
                remains=form.get(f"remains_{number}", "").strip(),
                chosen=form.get("chosen") == number,
            )
        )
    return options


def read_close_form(form: Mapping[str, str]) -> tuple[CloseAnswers, FormErrors]:
    """Return the answers of the close page and the errors by field."""
    errors: dict[str, str] = {}
    method, kind = form.get("method", ""), form.get("after_kind", "")
    fix = form.get("fix", "")
    if fix and fix not in set(FixKind):
        errors["fix"] = f"expected one of {', '.join(FixKind)}, got '{fix[:20]}'"
    proof_text, after_text = form.get("proof_text", "").strip(), form.get("after_text", "").strip()
    if proof_text and not method:
        errors["method"] = "expected how it was proven, got only the words; choose the method"
    answers = CloseAnswers(
        end=form.get("end", "fixed"),
        cause=form.get("cause", "").strip() or None,
        proofs=[Proof(method=method, text=proof_text)] if method else [],
        fix=FixKind(fix) if fix and "fix" not in errors else None,
        fix_text=form.get("fix_text", "").strip(),
        options=_options(form, errors),
        after_checks=[AfterCheck(kind=kind, text=after_text)] if kind else [],
        lesson=form.get("lesson", "").strip(),
    )
    return answers, FormErrors(by_field=errors)


def form_fields(revision: int | None = None) -> Markup:
    """Return the hidden fields of every form that writes.

    The token shows that the form is this site's own; ``form_id`` makes a second sending no second
    record; ``revision`` belongs in forms that overwrite, so that nobody's change is lost.
    """
    fields = {"csrf_token": generate_csrf(), "form_id": uuid4().hex}
    if revision is not None:
        fields["revision"] = str(revision)
    line = Markup('<input type="hidden" name="{}" value="{}">')
    return Markup("").join(line.format(name, value) for name, value in fields.items())


def init_app(app: Flask) -> None:
    """Make the hidden fields known to the templates."""
    app.add_template_global(form_fields)

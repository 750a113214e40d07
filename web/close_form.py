"""The form of the close page to answers; what cannot be read comes back as errors by field."""

from collections.abc import Container, Mapping
from dataclasses import dataclass, field
from datetime import date

from kb.case.model import AfterCheck, FixKind, Job, Option, Proof, Reading, ReadingSet
from kb.case.parts import FittedPart
from kb.case.retake import AsFound, after_sets, as_found, read_again
from kb.case.terms import Vocabulary
from kb.errors import KBError, ParseError, TermError
from kb.workflow.close import CloseAnswers, good_until
from kb.workflow.declined import NO_REPAIR
from kb.workflow.word_forms import key_of, plain_name
from web.close_parts import parts_typed
from web.forms import FormErrors, cents_typed, no_price
from web.wording import with_signs

# Rows of choices that a form may send (our choice), and suffixes of the names of up to three proofs.
MOST_OPTIONS = 6
PROOFS = ("", "_2", "_3")
# Before the reason why the conditions as found were not to be had again.
NOT_AVAILABLE = "same conditions not available: "
_GONE = (
    "expected readings that are as found on the job, got '{}' for one that was changed meanwhile; "
    "the readings below are those of now, type it again"
)


@dataclass(slots=True)
class _Reader:
    """One sent form; ``errors`` collects messages by field."""

    form: Mapping[str, str]
    photos: Container[str]
    errors: dict[str, str] = field(default_factory=dict)

    def text(self, name: str) -> str:
        return self.form.get(name, "").strip()

    def kind(self, field: str) -> FixKind | None:
        typed = self.text(field)
        if typed and typed not in set(FixKind):
            self.errors[field] = f"expected one of {', '.join(FixKind)}, got '{typed[:20]}'"
            return None
        return FixKind(typed) if typed else None

    def cents(self, field: str) -> int | None:
        typed = self.form.get(field, "")
        try:
            return cents_typed(typed)
        except ValueError:
            self.errors[field] = no_price(typed)
            return None

    def options(self) -> list[Option]:
        return [
            Option(
                what=self.text(f"option_{n}"),
                kind=self.kind(f"kind_{n}"),
                price_cents=self.cents(f"price_{n}"),
                remains=self.text(f"remains_{n}"),
                risk=self.text(f"risk_{n}"),
                chosen=self.form.get("chosen") == str(n),
            )
            for n in range(1, MOST_OPTIONS + 1)
            if self.text(f"option_{n}")
        ]

    def parts(self) -> list[FittedPart]:
        parts, errors = parts_typed(self.form)
        self.errors |= errors
        return parts

    def until(self, fix: FixKind | None, *, today: date) -> date | None:
        end = self.form.get("end", "fixed")
        try:
            return good_until(self.text("until"), today=today, end=end, fix=fix)
        except ParseError as error:
            self.errors["until"] = str(error)
            return None

    def refuse_as_fixed(self) -> None:
        if self.form.get("end", "fixed") == "fixed" and self.text("fix") in NO_REPAIR:
            self.errors["end"] = (
                "expected another end than repaired: a work-around or a declined repair is no "
                "repair; choose how the job ended"
            )

    def proofs(self) -> list[Proof]:
        rows = []
        for end in PROOFS:
            method, text = self.text(f"method{end}"), self.text(f"proof_text{end}")
            if method:
                rows.append(Proof(method=method, text=text, photo=self.photo(f"photo{end}")))
            elif text:
                self.errors[f"method{end}"] = (
                    "expected how it was proven, got only the words; choose the method"
                )
        return rows

    def photo(self, field: str) -> str | None:
        chosen = self.text(field)
        if chosen and chosen not in self.photos:
            self.errors[field] = "expected a photo of this job, got another; choose it again"
            return None
        return chosen or None

    def causes(self) -> tuple[str | None, str | None]:
        # The list of all causes stands on "none of these" unless somebody chose in it.
        cause = self.text("other_cause") or self.named() or self.text("cause") or None
        second = self.text("second_cause") or None
        if second and second == cause:
            self.errors["second_cause"] = (
                "expected another cause than the first, got the same one; leave it empty"
            )
        return cause, second

    def named(self) -> str | None:
        """Return the key of a cause that the shop adds with this close."""
        typed = self.text("new_cause")
        try:
            return key_of(plain_name(typed)) if typed else None
        except TermError as error:
            self.errors["new_cause"] = str(error)
            return None

    def after(self, job: Job, words: Vocabulary) -> tuple[ReadingSet, ...]:
        found = as_found(job)
        names = {row.name for row in found}
        lost = [self.text(name) for name in self.form if _is_reading(name) and name not in names]
        if any(lost):
            self.errors[""] = _GONE.format(next(filter(None, lost))[:20])
        read = [(row, value) for row in found if (value := self.again(row, words)) is not None]
        return after_sets(read, other_conditions=self.text("other_conditions"))

    def again(self, row: AsFound, words: Vocabulary) -> Reading | None:
        typed = self.text(row.name)
        if not typed:
            return None
        try:
            return read_again(words, row.reading, typed)
        except KBError as error:
            self.errors[row.name] = with_signs(str(error))
            return None

    def after_checks(self) -> list[AfterCheck]:
        kind, text = self.text("after_kind"), self.text("after_text")
        reason = self.text("other_conditions")
        if text and not kind:
            self.errors["after_kind"] = (
                "expected what shows that it holds, got only the words; choose the kind"
            )
        if reason:
            kind = kind or "not_proved"
            text = "; ".join(filter(None, [text, f"{NOT_AVAILABLE}{reason}"]))
        return [AfterCheck(kind=kind, text=text)] if kind else []


def _is_reading(name: str) -> bool:
    return name.startswith("after_") and name not in {"after_kind", "after_text"}


def read_close_form(
    form: Mapping[str, str],
    job: Job,
    words: Vocabulary,
    *,
    today: date,
    photos: Container[str] = (),
) -> tuple[CloseAnswers, FormErrors]:
    """Return the answers of the close page for ``job``, and the errors by field.

    A reading that was left empty was not read again; one that cannot be read is an error.
    ``photos`` are the content hashes of the job's photos.
    """
    reader = _Reader(form, photos)
    reader.refuse_as_fixed()
    cause, second = reader.causes()
    fix = reader.kind("fix")
    answers = CloseAnswers(
        end=form.get("end", "fixed"),
        cause=cause,
        second_cause=second,
        proofs=reader.proofs(),
        fix=fix,
        fix_text=reader.text("fix_text"),
        parts=reader.parts(),
        until=reader.until(fix, today=today),
        options=reader.options(),
        after_checks=reader.after_checks(),
        lesson=reader.text("lesson"),
        after=reader.after(job, words),
        told=reader.text("told"),
        comeback_of=reader.text("comeback_of") or None,
    )
    return answers, FormErrors(by_field=reader.errors)

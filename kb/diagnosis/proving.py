"""The look that proves a cause: a check of the catalogue that settles it, else its part's access."""

from collections.abc import Container, Iterable
from dataclasses import dataclass
from statistics import median

from kb.case.model import Finding
from kb.case.term_rows import CheckTerm
from kb.case.terms import Vocabulary
from kb.diagnosis.access import access_of, opening_minutes
from kb.diagnosis.part_names import concerns


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What settles one cause: a check with the outcome that proves it, None where the part is seen.

    ``minutes`` is hands-on; ``access`` what must be open, "" where that is in the minutes.
    """

    cause: str
    minutes: float
    access: str = ""
    check: str | None = None
    subject: str | None = None
    outcome: str | None = None


def subject_of(words: Vocabulary, cause: str, check: CheckTerm) -> str:
    """Return the part that a check acts on for a cause, "" where the check takes none."""
    return words.causes[cause].part.replace("_", " ") if check.subject else ""


def proving_look(
    words: Vocabulary,
    cause: str,
    *,
    done: Container[tuple[str, str]] = (),
    opened: Iterable[str] = (),
) -> Look:
    """Return the shortest proving check of a cause that is not done, else seeing its part.

    A cause that only the shop knows takes the catalogue's median access (our choice).

    Parameters
    ----------
    words : Vocabulary
        The trade's words.
    cause : str
        Name of the cause.
    done : container of (check, subject)
        What is known already; subject "" where there is none.
    opened : iterable of str
        Access that is open already, as ``access_of`` names it.
    """
    row = words.causes.get(cause)
    if row is None:
        hours = [known.access_hours for known in words.causes.values()]
        return Look(cause=cause, minutes=60 * median(hours) if hours else 60.0)
    found = [
        Look(
            cause=cause,
            minutes=check.typical_minutes,
            access=access_of(check),
            check=check.key,
            subject=subject or None,
            outcome=row.expect.get(check.key),
        )
        for check in (words.checks[key] for key in row.prove)
        if (check.key, subject := subject_of(words, cause, check)) not in done
        and (check.key, "") not in done
    ]
    opening = opening_minutes((look.access for look in found), opened)
    whole = Look(cause=cause, minutes=60 * row.access_hours)
    return min(found, key=lambda look: look.minutes + opening.get(look.access, 0.0), default=whole)


def proves(words: Vocabulary, cause: str, finding: Finding) -> bool:
    """Say whether a finding is a proving check of ``cause`` with the outcome that proves it."""
    row = words.causes.get(cause)
    if row is None or finding.check not in row.prove:
        return False
    said = (finding.subject or "").lower()
    return finding.outcome == row.expect.get(finding.check) and concerns(
        words, finding.check, subject=said, part=row.part
    )

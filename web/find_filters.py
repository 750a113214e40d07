"""The filters of Find: typed choices to which closed cases are wanted."""

from collections.abc import Mapping
from datetime import date

from kb.case.terms import Vocabulary
from kb.store.case_lists import CaseFilter

_MAX_VEHICLE = 200


def _known(
    typed: Mapping[str, str], name: str, *, known: Mapping[str, object], errors: dict[str, str]
) -> str | None:
    value = typed.get(name, "").strip()
    if value and value not in known:
        errors[name] = f"expected one of the list, got '{value[:40]}'; choose again"
        return None
    return value or None


def _date(typed: Mapping[str, str], name: str, errors: dict[str, str]) -> date | None:
    value = typed.get(name, "").strip()
    if not value:
        return None
    try:
        return date.fromisoformat(value)
    except ValueError:
        errors[name] = f"expected a date like 2026-05-14, got '{value[:20]}'"
        return None


def read_filter(typed: Mapping[str, str], words: Vocabulary) -> tuple[CaseFilter, dict[str, str]]:
    """Return which cases are wanted, and messages by field; what is empty leaves nothing out."""
    errors: dict[str, str] = {}
    system = _known(typed, "system", known=words.systems, errors=errors)
    vehicle = typed.get("car", "").strip()
    if len(vehicle) > _MAX_VEHICLE or "\0" in vehicle:
        errors["car"] = "expected a few words of the vehicle; say it shorter"
    causes = tuple(row.key for row in words.causes.values() if row.system == system)
    wanted = CaseFilter(
        system=system,
        system_causes=causes if system else (),
        vehicle=vehicle or None,
        cause=_known(typed, "cause", known=words.known_causes, errors=errors),
        method=_known(typed, "method", known=words.proof_methods, errors=errors),
        closed_from=_date(typed, "from", errors),
        closed_to=_date(typed, "to", errors),
    )
    return wanted, errors

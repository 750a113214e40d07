"""The filters of Find: typed choices to which closed cases are wanted."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from kb.case.model import Origin
from kb.case.standing import ELSEWHERE
from kb.case.terms import Vocabulary
from kb.store.case_lists import CaseFilter

# What the address calls the choices.
FILTERS: Final = ("system", "car", "cause", "method", "from", "to", "shop")
_MAX_VEHICLE = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopChoice:
    """One choice of the shops that closed a case: its word in addresses, its name, its origins."""

    key: str
    name: str
    origins: tuple[Origin, ...]


# What another shop gave is chosen by itself, since nobody here saw it.
SHOPS: Final = (
    ShopChoice(
        key="here",
        name="this shop",
        origins=tuple(row for row in Origin if row not in ELSEWHERE),
    ),
    ShopChoice(key="another", name="another shop", origins=(Origin.ANOTHER_SHOP,)),
    ShopChoice(
        key="confirmed", name="another shop, confirmed here", origins=(Origin.CONFIRMED_HERE,)
    ),
)


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


def _causes_of(words: Vocabulary, system: str) -> tuple[str, ...]:
    return tuple(row.key for row in words.causes.values() if row.system == system)


def read_filter(typed: Mapping[str, str], words: Vocabulary) -> tuple[CaseFilter, dict[str, str]]:
    """Return which cases are wanted, and messages by field; what is empty leaves nothing out."""
    errors: dict[str, str] = {}
    system = _known(typed, "system", known=words.systems, errors=errors)
    vehicle = typed.get("car", "").strip()
    if len(vehicle) > _MAX_VEHICLE or "\0" in vehicle:
        errors["car"] = "expected a few words of the vehicle; say it shorter"
    origins = {row.key: row.origins for row in SHOPS}
    shop = _known(typed, "shop", known=origins, errors=errors)
    wanted = CaseFilter(
        system=system,
        system_causes=_causes_of(words, system) if system else (),
        vehicle=vehicle or None,
        cause=_known(typed, "cause", known=words.known_causes, errors=errors),
        method=_known(typed, "method", known=words.proof_methods, errors=errors),
        closed_from=_date(typed, "from", errors),
        closed_to=_date(typed, "to", errors),
        origins=origins[shop] if shop else None,
    )
    return wanted, errors

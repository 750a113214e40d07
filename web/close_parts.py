"""The parts fitted and how long a work-around should last, as fields of the close page."""

from collections.abc import Mapping, Sequence
from typing import Final

from kb.case.parts import FittedPart, plain

# Rows of parts on the close page; a repair with more names the rest in words (our choice).
PART_ROWS: Final = range(1, 5)


def parts_typed(form: Mapping[str, str]) -> tuple[list[FittedPart], dict[str, str]]:
    """Return the parts of a close form, and what is wrong by field."""
    parts, errors = [], {}
    for n in PART_ROWS:
        part, supplier, lot = (
            plain(form.get(f"{name}_{n}", "")) for name in ("part", "supplier", "lot")
        )
        if part:
            parts.append(FittedPart(part=part, supplier=supplier or None, lot=lot or None))
        elif supplier or lot:
            errors[f"part_{n}"] = (
                "expected which part it is, got only who supplied it or its lot; name the part"
            )
    return parts, errors


def part_fields(parts: Sequence[FittedPart]) -> dict[str, str]:
    """Return fitted parts as the fields of the close page."""
    typed = {}
    for n, row in zip(PART_ROWS, parts, strict=False):
        typed[f"part_{n}"] = row.part
        typed[f"supplier_{n}"] = row.supplier or ""
        typed[f"lot_{n}"] = row.lot or ""
    return typed


def part_words(row: FittedPart) -> str:
    """Return a fitted part in words.

    Examples
    --------
    >>> part_words(FittedPart(part="condenser fan", supplier="Northgate", lot="2631"))
    'condenser fan, from Northgate, lot 2631'
    """
    supplier = f"from {row.supplier}" if row.supplier else ""
    return ", ".join(filter(None, (row.part, supplier, f"lot {row.lot}" if row.lot else "")))

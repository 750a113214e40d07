"""A part that was fitted, with who supplied it: so that one that fails again has a name."""

from dataclasses import dataclass

from kb.case.one_line import one_line

# Characters kept of each word of a part (our choice: a line on a page).
MAX_WORDS = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedPart:
    """What was fitted; ``supplier`` and ``lot`` (lot number or date code) as the shop writes them."""

    part: str
    supplier: str | None = None
    lot: str | None = None


def read_part(typed: str) -> FittedPart | None:
    """Return a part typed as ``part, supplier, lot``; None where nothing is typed.

    Examples
    --------
    >>> read_part("condenser fan, Northgate, 2631")
    FittedPart(part='condenser fan', supplier='Northgate', lot='2631')
    >>> read_part("fan relay")
    FittedPart(part='fan relay', supplier=None, lot=None)
    """
    part, supplier, lot = (plain(row) for row in (*typed.split(",", 2), "", "")[:3])
    return FittedPart(part=part, supplier=supplier or None, lot=lot or None) if part else None


def plain(words: str) -> str:
    """Return words of a field as one line, cut to what is kept."""
    return one_line(words)[:MAX_WORDS].strip()

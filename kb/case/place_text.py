"""A place or a subject typed into a field: cleaned, short, or none."""

from typing import Final

from kb.errors import ParseError

# The longest place in the demonstration shop has 55 characters (our choice).
LONGEST_PLACE: Final = 80


def place_text(typed: str) -> str | None:
    """Return a typed place with single blanks, None where nothing was typed.

    Raises
    ------
    ParseError
        If it is longer than a place can be, or holds signs that cannot be shown.

    Examples
    --------
    >>> place_text("  left   front ")
    'left front'
    """
    text = " ".join(typed.split())
    if len(text) > LONGEST_PLACE:
        raise ParseError(
            f"expected a place of at most {LONGEST_PLACE} characters, got {len(text)}; "
            "put the rest into the box",
            text=text,
        )
    if not text.isprintable():
        raise ParseError("expected a place in letters and digits, got signs that cannot be shown")
    return text or None

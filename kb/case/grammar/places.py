"""Places: bank, sensor, cylinder, corner and side, as typed beside a reading."""

from dataclasses import dataclass
from typing import Final

from kb.case.grammar.marks import Line
from kb.case.grammar.names import Names

# Places that only some quantities have; to others these are words of another meaning.
_OWN: Final = frozenset({"dry", "wet", "feed", "ground"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A place in the words of the vocabulary; marks ``first`` up to ``stop``."""

    text: str
    first: int
    stop: int
    numbered: bool = False


def _one(line: Line, index: int, names: Names) -> Spot | None:
    rows, size = names.places.at(line, index)
    if not rows:
        return _cylinder_word(line, index)
    place, stop = rows[0], index + size
    if not place.numbered:
        return Spot(text=place.position, first=index, stop=stop)
    stop += line.low(stop) in {"#", "."}
    if line.kind(stop) != "number" or not _is_cylinder(line.low(stop)):
        return None
    return Spot(
        text=f"{place.position} {line.low(stop)}", first=index, stop=stop + 1, numbered=True
    )


def _is_cylinder(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 2 and 1 <= int(text) <= 16


def _cylinder_word(line: Line, index: int) -> Spot | None:
    # "cyl3" is one word to the eye and to the reader.
    low = line.low(index)
    if low.startswith("cyl") and _is_cylinder(low.lstrip("cylinder")):
        number = low.lstrip("cylinder")
        return Spot(text=f"cylinder {number}", first=index, stop=index + 1, numbered=True)
    return None


def fitting_place(text: str, positions: tuple[str, ...]) -> str | None:
    """Return what of a place a quantity has: no wet side of a vent."""
    words = [word for word in text.split() if word not in _OWN or word in positions]
    return " ".join(words) or None


def place_at(line: Line, index: int, names: Names) -> Spot | None:
    """Return the place at mark ``index``: up to three words of place in a row."""
    spot = _one(line, index, names)
    if spot is None:
        return None
    for _ in range(2):
        more = _one(line, spot.stop, names)
        if more is None or more.numbered or not line.same_statement(index, spot.stop):
            break
        spot = Spot(
            text=f"{spot.text} {more.text}", first=index, stop=more.stop, numbered=spot.numbered
        )
    return spot

"""A plain chart of what an answer costs against the number of cases, as SVG."""

import math
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from typing import Final

# Cases and milliseconds of each point of a line.
Points = Sequence[tuple[float, float]]

_WIDTH, _HEIGHT = 900, 560
_LEFT, _RIGHT, _TOP, _BOTTOM = 70, 260, 50, 60
# Colours that stay apart in most kinds of colour blindness: Okabe & Ito (2008), Color universal
# design (from memory). From the ninth line on they come again, dashed.
_COLOURS: Final = (
    "#000000", "#d55e00", "#0072b2", "#009e73", "#cc79a7", "#e69f00", "#56b4e9", "#7a6a00",
)  # fmt: skip
_LINE: Final = 15


class _Scale:
    """Powers of ten on a line of pixels."""

    def __init__(self, values: Sequence[float], start: float, end: float) -> None:
        self.low = math.floor(math.log10(min(values)))
        self.high = max(math.ceil(math.log10(max(values))), self.low + 1)
        self.start, self.end = start, end

    def at(self, value: float) -> float:
        """Return the pixel of a value above 0."""
        share = (math.log10(value) - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)

    def marks(self) -> Iterator[tuple[float, str]]:
        """Yield the pixel and the text of each power of ten."""
        for power in range(self.low, self.high + 1):
            yield self.at(10.0**power), f"{10.0**power:,g}" if power < 0 else f"{10**power:,}"


def chart(lines: Mapping[str, Points], title: str) -> str:
    """Return the chart of lines by name; both axes go by powers of ten."""
    points = [point for line in lines.values() for point in line]
    if not points:
        raise ValueError("expected at least one measured point to draw, got none")
    across = _Scale([n for n, _ in points], _LEFT, _WIDTH - _RIGHT)
    up = _Scale([ms for _, ms in points], _HEIGHT - _BOTTOM, _TOP)
    parts = [*_axes(across, up, title=title), *_drawn(lines, across, up=up)]
    body = "\n".join(parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" '
        f'font-family="sans-serif" font-size="13">\n'
        f'<rect width="100%" height="100%" fill="#fff"/>\n{body}\n</svg>\n'
    )


def _text(x: float, y: float, words: str, *, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def _axes(across: _Scale, up: _Scale, *, title: str) -> Iterator[str]:
    yield f"<title>{escape(title)}</title>"
    yield _text(_LEFT, 22, title)
    yield _text((across.start + across.end) / 2, _HEIGHT - 15, "cases", anchor="middle")
    yield _text(_LEFT, 42, "ms")
    for x, words in across.marks():
        yield f'<path d="M{x:.1f} {up.start}V{up.end}" stroke="#ddd"/>'
        yield _text(x, up.start + 20, words, anchor="middle")
    for y, words in up.marks():
        yield f'<path d="M{across.start} {y:.1f}H{across.end}" stroke="#ddd"/>'
        yield _text(across.start - 8, y + 4, words, anchor="end")


def _drawn(lines: Mapping[str, Points], across: _Scale, *, up: _Scale) -> Iterator[str]:
    """Yield each line, and its name beside its end, the names one under the other."""
    ends = {name: (across.at(n), up.at(ms)) for name, line in lines.items() for n, ms in line[-1:]}
    below = 0.0
    for number, name in enumerate(sorted(ends, key=lambda name: ends[name][1])):
        colour = _COLOURS[number % len(_COLOURS)]
        dash = ' stroke-dasharray="6 4"' if number >= len(_COLOURS) else ""
        places = [(across.at(n), up.at(ms)) for n, ms in lines[name]]
        path = "L".join(f"{x:.1f} {y:.1f}" for x, y in places)
        style = f'fill="none" stroke="{colour}"'
        yield f'<path d="M{path}" {style} stroke-width="2"{dash}/>'
        yield from (f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{colour}"/>' for x, y in places)
        x, y = ends[name]
        below = max(y, below + _LINE)
        yield f'<path d="M{x:.1f} {y:.1f}L{across.end + 14:.1f} {below:.1f}" {style}/>'
        yield _text(across.end + 18, below + 4, name)

"""One picture of the week, laid out, as ``_charts.html`` draws it."""

from dataclasses import dataclass

from web.plots import Plot


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekPicture:
    """A picture laid out, with its words and the rows of its table."""

    name: str
    about: tuple[str, ...]
    told: str
    chart: Plot
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

"""From values to places on a picture: scales, and round numbers on an axis."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, NamedTuple

_MOST_TICKS: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """From a value to its place; ``log`` for values in equal ratios."""

    low: float
    high: float
    start: float
    end: float
    log: bool = False

    def at(self, value: float) -> float:
        """Return the place of a value, to a hundredth."""
        low, high = self.low, self.high
        if self.log:
            low, high, value = math.log(low), math.log(high), math.log(value)
        share = (value - low) / (high - low)
        # Rounding to two digits reckons in decimals, which takes four times as long.
        return round(100 * (self.start + share * (self.end - self.start))) / 100


# From a value to its place.
Places = Callable[[float], float]


def places(low: float, high: float, *, start: float, end: float) -> Places:
    """Return what ``Scale.at`` of these ends is, as a function: it takes half as long."""
    width, length = high - low, end - start

    def at(value: float) -> float:
        return round(100 * (start + (value - low) / width * length)) / 100

    return at


class Tick(NamedTuple):
    """A round number on an axis."""

    label: str
    at: float


def round_step(width: float, most: int = _MOST_TICKS) -> float:
    """Return the least of 1, 2, 5 times a power of ten that cuts ``width`` into few parts.

    Examples
    --------
    >>> round_step(100.0), round_step(0.7)
    (20.0, 0.2)
    """
    least = width / (most - 1)
    power = 10.0 ** math.floor(math.log10(least))
    for times in (1, 2, 5, 10):
        if times * power >= least:
            return float(f"{times * power:.12g}")
    return float(f"{20 * power:.12g}")


def round_ends(low: float, high: float) -> tuple[float, float, float]:
    """Return round numbers around a span, and the step between its ticks.

    Examples
    --------
    >>> round_ends(214.0, 318.0)
    (210.0, 320.0, 50.0)
    """
    if not high > low:
        spare = abs(low) * 0.1 or 1.0
        low, high = low - spare, high + spare
    step = round_step(high - low)
    fine = step / 5
    first, last = math.floor(low / fine + 1e-9) * fine, math.ceil(high / fine - 1e-9) * fine
    return float(f"{first:.12g}"), float(f"{last:.12g}"), step


# Ends are round, so that the readings of many jobs share an axis; a kilobyte each (our choice).
@lru_cache(maxsize=512)
def ticks_of(scale: Scale, step: float) -> tuple[Tick, ...]:
    """Return the multiples of ``step`` on a scale."""
    first, last = math.ceil(scale.low / step - 1e-9), math.floor(scale.high / step + 1e-9)
    values = [float(f"{number * step:.12g}") for number in range(first, last + 1)]
    return tuple(Tick(tick_label(value), scale.at(value)) for value in values)


def log_ticks(scale: Scale) -> tuple[Tick, ...]:
    """Return 1, 2 and 5 times the powers of ten on a scale of equal ratios."""
    powers = range(math.floor(math.log10(scale.low)), math.ceil(math.log10(scale.high)) + 1)
    values = [times * 10.0**power for power in powers for times in (1, 2, 5)]
    return tuple(
        Tick(tick_label(value), scale.at(value))
        for value in values
        if scale.low <= value <= scale.high
    )


def tick_label(value: float) -> str:
    """Return a round number as text, a true minus sign before it.

    Examples
    --------
    >>> tick_label(-20.0), tick_label(0.5), tick_label(12000.0)
    ('−20', '0.5', '12000')
    """
    text = f"{value + 0.0:.10f}".rstrip("0").rstrip(".")
    return text.replace("-", "−")


def scale_over(values: Iterable[float], start: float, end: float) -> tuple[Scale, tuple[Tick, ...]]:
    """Return a scale with round ends over all values, and its ticks."""
    known = list(values)
    low, high, step = round_ends(min(known), max(known))
    scale = Scale(low=low, high=high, start=start, end=end)
    return scale, ticks_of(scale, step)

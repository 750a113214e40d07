"""What measuring found, in words and tables; nothing is measured here."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from web.wording import percent

_COUNTS: Final = frozenset({"queries", "stored", "new", "jobs", "asked", "folds"})
# Tables that have words of their own.
_TABLES: Final = frozenset({"reliability", "risk_coverage"})
# Below so many jobs a share says too little to go by (our choice).
_LEAST: Final = 20


def measure_lines(result: Mapping[str, Any], indent: str = "") -> list[str]:
    """Return the measures by name, one a line, and the tables of the chances below them."""
    lines = []
    for key, value in result.items():
        name = key.replace("_", " ")
        if key in _TABLES:
            continue
        if isinstance(value, Mapping):
            lines += [f"{indent}{name}:", *measure_lines(value, indent + "  ")]
        elif isinstance(value, list):
            lines.append(f"{indent}{name}: {value[0]:.3f} to {value[1]:.3f}")
        elif isinstance(value, str):
            lines.append(f"{indent}{name}: {value}")
        else:
            lines.append(f"{indent}{name}: " + (f"{value:g}" if key in _COUNTS else f"{value:.4f}"))
    return [*lines, *(indent + line for line in chance_lines(result))]


def chance_lines(result: Mapping[str, Any]) -> list[str]:
    """Return what was said against what came true, and the errors by how many were answered."""
    lines = []
    if result.get("reliability"):
        lines += ["said            answers  mean said  proved true", *_bands(result["reliability"])]
    if result.get("risk_coverage"):
        lines += ["surest          answers  wrong", *_covered(result["risk_coverage"])]
    return lines


def _bands(bands: Sequence[Mapping[str, Any]]) -> list[str]:
    return [
        f"{row['low']:4.0%} to {row['high']:4.0%}  {row['answers']:9}  {row['said']:9.0%}  "
        f"{row['right']:4} = {row['right'] / row['answers']:.0%} "
        f"({row['interval'][0]:.0%} to {row['interval'][1]:.0%})"
        for row in bands
    ]


def _covered(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    return [
        f"{row['share']:4.0%}          {row['answers']:9}  {row['wrong']:5} = "
        f"{row['wrong'] / row['answers']:.1%}"
        for row in rows
    ]


def foreman_lines(result: Mapping[str, Any]) -> list[str]:
    """Return in plain words how often the right cause came up, and how far to trust a chance.

    ``result`` is what ``measure_own`` gives.
    """
    if not result["queries"]:
        return ["Nothing to measure yet: it takes closed jobs with a proven cause."]
    known = result["seen_before"]
    lines = [
        f"{result['queries']} closed jobs were asked again as they were first written up, each of "
        "the jobs closed before it."
    ]
    if known["queries"]:
        lines += _hits(known)
        lines += _trust(known)
    return lines + _new(result, known)


def _new(result: Mapping[str, Any], known: Mapping[str, Any]) -> list[str]:
    """Return how the jobs fared whose cause the shop had not seen before."""
    asked = result["queries"] - known["queries"]
    if not asked:
        return []
    hits = _first_three(result) - (_first_three(known) if known["queries"] else 0)
    return [
        f"The other {asked} had a cause that was new to the shop; the trade's list alone put it "
        f"among the first three in {hits} ({hits / asked:.0%})."
    ]


def _first_three(result: Mapping[str, Any]) -> int:
    return round(float(result["hit@3"]) * int(result["queries"]))


def _hits(known: Mapping[str, Any]) -> list[str]:
    asked = known["queries"]
    first, three = (round(known[f"hit@{cut}"] * asked) for cut in (1, 3))
    low, high = known["hit@3_interval"]
    few = " Too few to go by yet." if asked < _LEAST else ""
    return [
        f"Of the {asked} whose cause had been here before, the right cause came first in {first} "
        f"({first / asked:.0%}) and among the first three in {three} ({three / asked:.0%}; "
        f"with luck either way, {low:.0%} to {high:.0%}).{few}"
    ]


def _trust(known: Mapping[str, Any]) -> list[str]:
    """Return how often a cause proved true that was said at each chance."""
    lines = []
    for row in known.get("reliability") or []:
        right, answers = row["right"], row["answers"]
        said = f"Said {percent(row['low'])} to {percent(row['high'])}"
        verdict = "" if answers < _LEAST else f", so take it as {right / answers:.0%}"
        lines.append(f"{said}: {right} of {answers} proved true{verdict}.")
    if lines:
        gap = _gap(known["reliability"])
        lines.append(_verdict(gap))
    return lines


def _gap(bands: Sequence[Mapping[str, Any]]) -> float:
    """Return by how much more was said than proved true, on the mean."""
    total = sum(row["answers"] for row in bands)
    return float(sum(row["answers"] * row["said"] - row["right"] for row in bands) / total)


def _verdict(gap: float) -> str:
    if abs(gap) < 0.05:
        return "On the whole the chances may be taken as they stand."
    way = "surer than it should be" if gap > 0 else "more careful than it need be"
    return f"On the whole it is {way}, by {abs(gap):.0%}."

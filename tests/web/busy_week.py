"""A made-up week in which every kind of row stands, for the looks of the page."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

from kb.case.iso_week import IsoWeek
from kb.store.engine import Store
from kb.workflow.week.kept import kept_text
from kb.workflow.week.pace import quartiles
from kb.workflow.week.rows import KINDS, Level, WeekRow
from web.week_words.said import Said, Say

WHAT = {
    "rising_cause": "Condenser fan does not turn: 7 in the last 8 weeks, 1.3 were to be expected.",
    "rising_pair": "Most of them on one model: 5 on Aldenroe Lintel 2.0 petrol.",
    "rising_complaint": "Air is warm at idle on Aldenroe Lintel 2.0 petrol: 5 in 8 weeks.",
    "safety": "2 cars left with a brake repair declined.",
    "old_job": "9 jobs are open for more than 5 days; most wait for parts.",
}
NUMBERS = "7 of 41 jobs, with luck either way 9 to 31 %; in the year before 6 of 402, 1 to 3 %."
DO = "Talk about it on Monday, keep two of the part, and look for a notice of the maker."


def says() -> dict[str, Say]:
    """Return words for every kind of row: those that a made-up row carries."""
    return dict.fromkeys(
        KINDS,
        lambda row, _: Said(
            what=row.numbers.get("what", row.kind),
            numbers=NUMBERS,
            do=DO if row.level is not Level.KNOW else "",
        ),
    )


def weeks_of(week: IsoWeek) -> list[dict[str, object]]:
    """Return half a year of counts with what was expected and the most that luck brings."""
    counts = [0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0, 2, 1, 1, 3, 2]
    expected = [0.16] * len(counts)
    return [
        {"week": str(week.shifted(at - 25)), "count": count, "expected": mean, "upper": 2.0}
        for at, (count, mean) in enumerate(zip(counts, expected, strict=True))
    ]


def pace_of(week: IsoWeek) -> list[dict[str, object]]:
    """Return half a year of days that jobs took, two weeks of them with too few jobs."""
    return [
        {
            "week": str(week.shifted(at - 25)),
            **quartiles([float((at * day) % 7) for day in range(3 if at in {4, 5} else 12)]),
        }
        for at in range(26)
    ]


def busy_rows(week: IsoWeek, cases: tuple[str, ...]) -> Iterator[WeekRow]:
    """Return rows of every kind, several of most; three matters are worth a decision."""
    levels = {"rising_cause": Level.ACT, "rising_pair": Level.ACT, "safety": Level.ACT}
    levels |= {"rising_complaint": Level.LOOK, "old_job": Level.LOOK, "season": Level.LOOK}
    for kind in KINDS:
        for at in range(1 if kind in {*levels, "pace"} else 4):
            numbers: dict[str, Any] = {
                "what": WHAT.get(kind, f"{at + 2} jobs are worth a look: {kind}.")
            }
            if kind.startswith("rising"):
                numbers |= {"weeks": weeks_of(week), "recent_weeks": 8}
            if kind == "pace":
                numbers |= {"weeks": pace_of(week)}
            yield WeekRow(
                kind=kind,
                subject=("fan_dead", str(at)),
                level=levels.get(kind, Level.KNOW),
                strength=float(-at),
                numbers=numbers,
                cases=cases[: 12 if kind in levels else 3],
            )


def keep_busy_week(store: Store, week: IsoWeek, cases: tuple[str, ...]) -> None:
    """Keep that week as if it had been counted just now."""
    rows = sorted(busy_rows(week, cases), key=lambda row: row.place)
    body = {
        "week": str(week),
        "jobs": 41,
        "cases": 38,
        "rows": [row.as_json() for row in rows],
    }
    with store.write("Ines", datetime.now(UTC)) as unit:
        claim = unit.reviews.claim(str(week), anew=True)
        assert claim
        assert unit.reviews.keep(str(week), claim, kept_text(body))

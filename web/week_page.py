"""The page of a week, put together: rows in words, those worth a decision first."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from hashlib import blake2s
from typing import Final

from kb.case.iso_week import IsoWeek
from kb.case.terms import Vocabulary
from kb.workflow.review import Review
from kb.workflow.week.rows import WeekRow
from web.week_charts import picture_of
from web.week_picture import WeekPicture
from web.week_words.rows import say
from web.week_words.said import Said

# What rows are about, with the kinds of each, in the order in which the kinds stand.
TOPIC_NAMES: Final = (
    ("Safety", ("safety",)),
    ("What came back", ("came_back",)),
    ("What comes up more often", ("rising_cause", "rising_pair", "rising_complaint")),
    ("Parts that failed again", ("failed_part",)),
    ("Jobs that are alike", ("no_name",)),
    ("Parts that did not cure", ("money_lost",)),
    ("Work-arounds that end", ("workaround",)),
    ("Declined repairs", ("declined",)),
    ("Open a long time", ("old_job",)),
    ("New to this shop", ("new_ground",)),
    ("Mixed up with each other", ("mixed_up",)),
    ("Same readings, another cause", ("same_readings",)),
    ("Causes only inferred", ("inferred",)),
    ("Odd readings", ("odd_value",)),
    ("Checks", ("check_paid", "check_idle", "check_skipped", "slow_check")),
    ("From opening to closing", ("pace",)),
    ("Did the answers help", ("answers_helped",)),
    ("What was written down", ("records", "kept", "spread")),
    ("Repairs that hold", ("held", "lasting")),
    ("Time of year", ("season",)),
    ("Written down twice", ("twin",)),
    ("Words not understood", ("unread_word",)),
    ("Cases not met for years", ("old_knowledge",)),
)
# Cases of a row that stand open; the others are folded (our choice).
OPEN_CASES: Final = 8
# Lines of the second printed page, three columns together, signs of one line, and the rows of one
# topic at most (looked up on the page as Chromium prints it; a few lines are left for long words).
_PAPER_LINES: Final = 240
_PAPER_SIGNS: Final = 44
_MOST_ON_PAPER: Final = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A row with its words; ``anchor`` names its place on the page."""

    row: WeekRow
    said: Said

    @property
    def picture(self) -> WeekPicture | None:
        """Return the row's picture, None where it has none."""
        return picture_of(self.row)

    @property
    def anchor(self) -> str:
        """Return a short name made of the row's key, which may hold any sign."""
        return "row-" + blake2s(self.row.key.encode(), digest_size=5).hexdigest()

    @property
    def open_cases(self) -> tuple[str, ...]:
        """Return the cases that stand open."""
        return self.row.cases[:OPEN_CASES]

    @property
    def folded_cases(self) -> tuple[str, ...]:
        """Return the others."""
        return self.row.cases[OPEN_CASES:]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownMatter:
    """A card for a decision: the row that leads, and those about the same matter."""

    lead: Shown
    others: tuple[Shown, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownTopic:
    """The rows of one topic, the most pressing first."""

    name: str
    rows: tuple[Shown, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekAsked:
    """The week that is asked for.

    ``first`` is that of the shop's first job, None before one; of a week with jobs before it, any
    earlier one will do.
    """

    week: IsoWeek
    today: date
    first: IsoWeek | None

    @property
    def newest(self) -> IsoWeek:
        """Return the newest week that is over."""
        return IsoWeek.last_whole(self.today)

    @property
    def running(self) -> IsoWeek:
        """Return the week that runs."""
        return IsoWeek.of(self.today)

    @property
    def is_running(self) -> bool:
        """Return whether the week asked for still runs."""
        return self.week == self.running

    @property
    def earlier(self) -> IsoWeek | None:
        """Return the week before, None where nothing lies there."""
        if self.silence or self.week == self.first:
            return None
        return self.week.shifted(-1)

    @property
    def later(self) -> IsoWeek | None:
        """Return the week after, up to the newest that is over."""
        return self.week.shifted(1) if not self.silence and self.week < self.newest else None

    @property
    def silence(self) -> str:
        """Return why there is nothing to count; empty where there is."""
        if self.week > self.running:
            return f"This week has not begun; the one that runs is {self.running}."
        if self.first is None:
            return "No job is written down yet. The week is counted once there is one."
        if self.week < self.first:
            return f"This week lies before the first job, which is of {self.first}."
        return ""


def shown(rows: Iterable[WeekRow], words: Vocabulary) -> tuple[Shown, ...]:
    """Return rows with their words, the numbers beginning as a sentence does."""
    return tuple(Shown(row=row, said=_begun(say(row, words))) for row in rows)


def _begun(said: Said) -> Said:
    return replace(said, numbers=said.numbers[:1].upper() + said.numbers[1:])


def matters_shown(review: Review, words: Vocabulary) -> tuple[ShownMatter, ...]:
    """Return what is worth a decision."""
    return tuple(
        ShownMatter(lead=shown((matter.lead,), words)[0], others=shown(matter.others, words))
        for matter in review.first_matters
    )


def topics(review: Review, words: Vocabulary) -> tuple[ShownTopic, ...]:
    """Return the rows that are not worth a decision by topic; empty topics are left out."""
    found, rest = [], review.rest
    for name, kinds in TOPIC_NAMES:
        rows = shown((row for row in rest if row.kind in kinds), words)
        if rows:
            found.append(ShownTopic(name=name, rows=rows))
    return tuple(found)


def topic_of(kind: str) -> str:
    """Return the name of the topic that rows of a kind stand under."""
    return next(name for name, kinds in TOPIC_NAMES if kind in kinds)


def paper_rows(found: Sequence[ShownTopic]) -> int:
    """Return how many rows of each topic are printed so that all topics fit one page."""
    return next(
        (most for most in range(_MOST_ON_PAPER, 1, -1) if _lines(found, most) <= _PAPER_LINES), 1
    )


def _lines(found: Sequence[ShownTopic], most: int) -> int:
    return sum(
        # The name of a topic, and the line about those that are left out.
        2 + sum(_lines_of(one) for one in topic.rows[:most])
        for topic in found
    )


def _lines_of(one: Shown) -> int:
    text = " ".join((one.said.what, one.said.numbers, "Cases", *one.open_cases))
    return math.ceil(len(text) / _PAPER_SIGNS)

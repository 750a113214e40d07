"""Groups of recent jobs that are alike, are new to the shop, and have no cause in common."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import timedelta
from typing import Any, Final

from kb.diagnosis.clusters import LEAST_JOBS, CaseGroup, find_groups, keep_keys
from kb.diagnosis.held_together import Sign
from kb.diagnosis.rates import difference_test
from kb.retrieval.analyzer import word_terms
from kb.retrieval.pairwise import Likeness
from kb.workflow.week.kept import read_kept
from kb.workflow.week.rows import Level, WeekRow
from kb.workflow.week.seen import BEFORE, Seen

# The chance that luck alone would make a group, and how many times as often as in the year before
# its words must come up now: most complaints have several causes, and are no group without a name
# (our choice: in the invented two years 1e-3 told of groups that nobody planted in 10 of 30 reviews;
# with 1e-4 one of the 10 is left, and the planted group stands from its fifth job on).
LUCK: Final = 1e-4
TIMES: Final = 10.0
# Rows of a week (our choice).
MOST_GROUPS: Final = 5


def no_name(seen: Seen, alike: Likeness) -> Iterator[WeekRow]:
    """Yield a row for each group of the recent jobs that is more than luck, the largest first.

    A group counts where its words are new to the shop, or where it looks like one known cause and
    has this cause written down more seldom than other jobs have theirs. Where the year before
    holds too few jobs to tell what is new, a group is shown only as good to know.
    """
    found = find_groups(alike)
    if not found:
        return
    judge = _Judge(seen, alike)
    levels = {group.cases: level for group in found if (level := judge.level(group))}
    groups = [group for group in found if group.cases in levels]
    groups.sort(key=lambda group: levels[group.cases] is not Level.LOOK)
    for group in keep_keys(tuple(groups[:MOST_GROUPS]), _earlier(seen)):
        yield _row(group, levels[group.cases], words=judge.words_of(group))


class _Judge:
    """Says which groups are worth a row."""

    def __init__(self, seen: Seen, alike: Likeness) -> None:
        self._now = {job.features.case: set(word_terms(job.features.said)) for job in alike.jobs}
        self._unnamed = sum(cause is None for cause in alike.index.causes_)
        first = seen.first_recent
        told = seen.unit.weeks.said(first.shifted(-BEFORE).monday, first.monday - timedelta(days=1))
        self._texts_now = _Texts(self._now.values())
        self._before = _Texts(set(word_terms(text)) for text in told)

    def level(self, group: CaseGroup) -> Level | None:
        """Return how pressing a group is, None where it may well be luck."""
        if self._is_left_unnamed(group):
            return Level.LOOK
        if self._before.size < len(self._now):
            return Level.KNOW
        return Level.LOOK if self._is_new(group) else None

    def words_of(self, group: CaseGroup) -> dict[str, int]:
        """Return how many jobs say a group's words: now and before, of how many."""
        marks = self._marks(group)
        return {
            "now": self._texts_now.with_half(marks),
            "of_now": self._texts_now.size,
            "before": self._before.with_half(marks),
            "of_before": self._before.size,
        }

    def _is_new(self, group: CaseGroup) -> bool:
        if not self._marks(group):
            return False
        count = self.words_of(group)
        now, before = (count["now"], count["of_now"]), (count["before"], count["of_before"])
        p = difference_test(now, before)
        often = now[0] * before[1] >= TIMES * before[0] * now[1]
        return p is not None and p < LUCK and often

    def _is_left_unnamed(self, group: CaseGroup) -> bool:
        if len(group.causes) != 1:
            return False
        size = len(group.cases)
        rest = self._unnamed - group.unnamed, len(self._now) - size
        p = difference_test((group.unnamed, size), rest, least=LEAST_JOBS)
        more = group.unnamed * rest[1] > rest[0] * size
        return p is not None and p < LUCK and more

    def _marks(self, group: CaseGroup) -> list[str]:
        """Return the words that hold a group together and came with the customer."""
        said = [self._now[case] for case in group.cases]
        words = [sign.what for sign in group.signs if sign.part == "words"]
        return [word for word in words if 2 * sum(word in terms for terms in said) >= len(said)]


class _Texts:
    """Which texts have a word, so that many are counted without a look at each."""

    def __init__(self, texts: Iterable[set[str]]) -> None:
        self.size = 0
        self._where: dict[str, list[int]] = defaultdict(list)
        for terms in texts:
            for word in terms:
                self._where[word].append(self.size)
            self.size += 1

    def with_half(self, marks: Sequence[str]) -> int:
        """Return how many texts have at least half of the marks; none where there are no marks."""
        counts = Counter(at for mark in marks for at in self._where.get(mark, ()))
        return sum(2 * count >= len(marks) for count in counts.values())


def _row(group: CaseGroup, level: Level, *, words: Mapping[str, int]) -> WeekRow:
    one_cause = len(group.causes) == 1
    return WeekRow(
        kind="no_name",
        subject=(group.key,),
        level=level,
        # The likeness of a group, tens of nats at most, decides between groups of one size.
        strength=len(group.cases) + group.likeness / 1_000,
        numbers={
            "jobs": len(group.cases),
            "vehicles": group.vehicles,
            "causes": [{"cause": cause, "count": count} for cause, count in group.causes],
            "unnamed": group.unnamed,
            "looks_like": group.causes[0][0] if one_cause else None,
            "likeness": group.likeness,
            "signs": [_sign(sign) for sign in group.signs],
            "words": dict(words),
        },
        cases=group.cases,
    )


def _sign(sign: Sign) -> dict[str, Any]:
    return {
        "part": sign.part,
        "what": sign.what,
        "inside": sign.inside,
        "size": sign.size,
        "outside": sign.outside,
        "others": sign.others,
        "span": sign.span,
        "unit": sign.unit,
    }


def _earlier(seen: Seen) -> dict[str, tuple[str, ...]]:
    """Return the cases of each group in the newest kept review before this one, by its key."""
    this = str(seen.week)
    week = next((week for week in seen.unit.reviews.weeks() if week < this), None)
    kept = seen.unit.reviews.get(week) if week else None
    # Where it cannot be read, keys begin anew.
    body = read_kept(kept.body) if kept else None
    if body is None:
        return {}
    made = [WeekRow.from_json(row) for row in body["rows"] if row["kind"] == "no_name"]
    return {row.subject[0]: row.cases for row in made if row.subject}

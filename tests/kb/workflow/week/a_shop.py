"""A small invented shop for tests of the week: jobs by week as lines, without a database."""

from collections import defaultdict
from datetime import date, timedelta
from typing import cast

from kb.case.iso_week import IsoWeek
from kb.case.parts import FittedPart
from kb.case.terms import load_vocabulary
from kb.store.unit_of_work import UnitOfWork
from kb.store.week_rows import ClosedLine, Comeback
from kb.workflow.week.seen import Seen

WEEK = IsoWeek(date(2026, 11, 16))
WORDS = load_vocabulary()
FAN = "condenser_fan_dead"
# Three causes of other systems, that fill the weeks.
FILL = ("purge_stuck_open", "thermostat_open", "wheel_bearing")


class AShop:
    """Jobs by week; answers what a ``Seen`` asks of the store, never a day after the one asked."""

    def __init__(self, holding=None):
        self.rows = []
        self.backs = []
        self.symptoms_of = defaultdict(set)
        self.parts_of = defaultdict(list)
        self.weeks = self.settings = self
        self.holding = holding

    def job(self, ago, cause=FAN, *, day=2, stay=1, symptoms=(), parts=(), **changes):
        """Add a job closed ``ago`` weeks before the week; return its id."""
        closed = WEEK.shifted(-ago).monday + timedelta(days=day)
        made = {
            "id": f"J{len(self.rows):05}",
            "opened": closed - timedelta(days=stay),
            "closed": closed,
            "system": WORDS.causes[cause].system if cause else None,
            "cause": cause,
            "end": "fixed",
            "held": False,
            "overturned_by": None,
            "comeback_of": None,
            "fix": "replaced",
            "vin": None,
            "year": 2014,
            "make": "Dunmarrow",
            "model": f"Model {len(self.rows) % 7}",
            "engine": "2.0",
        }
        line = ClosedLine(**(made | changes))
        self.rows.append(line)
        self.symptoms_of[line.id].update(symptoms)
        self.parts_of[line.id] += parts
        return line.id

    def fill(self, weeks, each=12, **changes):
        """Add jobs of three dull causes to each of so many weeks."""
        for ago in range(weeks):
            for at in range(each):
                self.job(ago, FILL[at % 3], day=at % 5, **changes)
        return self

    def comeback(self, of, days, cause=None, *, stay=0, **changes):
        """Add a job that came back so many days after ``of`` was closed; open without a cause."""
        first = next(row for row in self.rows if row.id == of)
        opened = first.closed + timedelta(days=days)
        closed = opened + timedelta(days=stay) if cause else None
        back = Comeback(
            id=f"J{len(self.rows):05}" if cause else f"O{len(self.backs)}",
            of=of,
            opened=opened,
            closed=closed,
            cause=cause,
        )
        self.backs.append(back)
        if closed:
            self.job(
                0, cause, comeback_of=of, vin=first.vin, opened=opened, closed=closed, **changes
            )
        return back.id

    def seen(self, week=WEEK, words=WORDS):
        """Look at the week."""
        return Seen(unit=cast(UnitOfWork, self), week=week, words=words)

    # --- what a unit of work answers

    def get(self, key):
        assert key == "holding days"
        return self.holding

    def lines(self, first, last):
        rows = sorted(self.rows, key=lambda row: (row.closed, row.id))
        return tuple(row for row in rows if first <= row.closed <= last)

    def comebacks(self, last):
        known = sorted((row for row in self.backs if row.opened <= last), key=lambda r: r.opened)
        return tuple(
            row
            if row.closed and row.closed <= last
            else Comeback(id=row.id, of=row.of, opened=row.opened, closed=None, cause=None)
            for row in known
        )

    def symptoms(self, first, last):
        rows = self.lines(first, last)
        return tuple((row.id, each) for row in rows for each in sorted(self.symptoms_of[row.id]))

    def parts(self, first, last):
        return tuple(
            (row.id, each) for row in self.lines(first, last) for each in self.parts_of[row.id]
        )


def a_part(part="condenser fan", supplier="Northgate", lot=None):
    """Return a fitted part."""
    return FittedPart(part=part, supplier=supplier, lot=lot)

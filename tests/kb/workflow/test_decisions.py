from datetime import UTC, date, datetime, timedelta

import pytest

from kb.case.iso_week import IsoWeek
from kb.errors import ConflictError, FieldsError, NotFoundError
from kb.store.decisions import About
from kb.workflow.decisions import (
    LONGEST,
    SHOWN_SETTLED,
    TypedPlan,
    change_decision,
    decide,
    decided_before,
    mark_of,
    seen_about,
    settle,
    take_up_again,
)
from kb.workflow.review import Review
from kb.workflow.week.rows import WeekRow

TODAY = date(2026, 11, 24)
NOW = datetime(2026, 11, 24, 9, 0, tzinfo=UTC)
ABOUT = About(week="2026-W47", row_key="came_back:hvac", said="Some came back.\n4 of 30")
TYPED = TypedPlan(what="Look at the last three", owner="Mara", due="2026-11-30")


def typed(**changes):
    fields = {"what": TYPED.what, "owner": TYPED.owner, "due": TYPED.due}
    return TypedPlan(**(fields | changes))


def made(shop, fields=TYPED, *, seen="", at=NOW, about=ABOUT):
    with shop.store.write("Ines", at) as unit:
        return decide(unit, about, fields, seen=seen, today=TODAY)


def get(shop, decision_id):
    with shop.store.read() as unit:
        return unit.decisions.get(decision_id)


def settled(shop, decision, at=NOW, **said):
    with shop.store.write("Ines", at) as unit:
        settle(unit, decision.id, **({"seen": mark_of(decision)} | said))


def changed(shop, decision, fields):
    seen = mark_of(decision)
    shop.write(change_decision, decision.id, fields, seen=seen, today=TODAY)


def before(shop, review=None, *, now=NOW):
    with shop.store.read() as unit:
        return decided_before(unit, review, now=now, today=now.date())


def a_review(week, *rows):
    return Review(week=IsoWeek.parse(week), made_at=NOW, jobs=0, cases=0, rows=rows)


def refused(error):
    return sorted(error.value.by_field)


def test_a_decision_keeps_the_row_as_it_stood_and_one_line_of_what_was_typed(shop):
    decision = made(shop, typed(what="  Look at\n the last three ", owner=" Mara  "))
    assert decision.about == ABOUT
    assert (decision.plan.what, decision.plan.owner) == ("Look at the last three", "Mara")
    assert decision.plan.due == date(2026, 11, 30)


@pytest.mark.parametrize(
    ("changes", "fields"),
    [
        ({"what": " "}, ["what"]),
        ({"owner": ""}, ["owner"]),
        ({"due": ""}, ["due"]),
        ({"due": "30 November"}, ["due"]),
        ({"due": "2026-11-23"}, ["due"]),
        ({"what": "x" * (LONGEST + 1)}, ["what"]),
        ({"owner": "x" * 81}, ["owner"]),
        ({"what": "", "owner": "", "due": ""}, ["due", "owner", "what"]),
    ],
)
def test_each_field_that_cannot_be_taken_is_named(shop, changes, fields):
    with pytest.raises(FieldsError) as error:
        made(shop, typed(**changes))
    assert refused(error) == fields
    assert before(shop) == ()


def test_the_longest_text_and_today_are_taken(shop):
    decision = made(shop, typed(what="x" * LONGEST, due=TODAY.isoformat()))
    assert len(decision.plan.what) == LONGEST


def test_whoever_decides_second_about_a_row_is_told_of_the_first(shop):
    first = made(shop)
    with pytest.raises(ConflictError, match="meanwhile"):
        made(shop)
    with shop.store.read() as unit:
        seen = seen_about(unit, ABOUT.row_key)
    assert seen == str(first.id)
    assert made(shop, seen=seen).id != first.id


def test_a_change_over_another_change_is_refused(shop):
    decision = made(shop)
    changed(shop, decision, typed(owner="Jon"))
    with pytest.raises(ConflictError, match="changed meanwhile"):
        changed(shop, decision, typed(what="Something else"))
    assert get(shop, decision.id).plan.owner == "Jon"


def test_a_day_that_passed_may_stay_but_not_be_chosen(shop):
    decision = made(shop, typed(due=TODAY.isoformat()))
    late, seen = TODAY + timedelta(days=3), mark_of(decision)
    fields = typed(what="Look at two", due=TODAY.isoformat())
    shop.write(change_decision, decision.id, fields, seen=seen, today=late)
    kept = get(shop, decision.id)
    assert kept.plan.what == "Look at two"
    with pytest.raises(FieldsError, match="today or later"):
        shop.write(
            change_decision, decision.id, typed(due="2026-11-25"), seen=mark_of(kept), today=late
        )


def test_a_change_that_changes_nothing_writes_nothing(shop):
    decision = made(shop)
    with shop.store.read() as unit:
        last = unit.history.last_seq()
    changed(shop, decision, TYPED)
    with shop.store.read() as unit:
        assert unit.history.last_seq() == last


def test_done_says_what_came_of_it_and_dropped_may(shop):
    decision = made(shop)
    with pytest.raises(FieldsError, match="what came of it") as error:
        settled(shop, decision, state="done", outcome=" ")
    assert refused(error) == ["outcome"]
    with pytest.raises(FieldsError) as error:
        settled(shop, decision, state="lost", outcome="x" * (LONGEST + 1))
    assert refused(error) == ["outcome", "state"]
    settled(shop, decision, state="dropped", outcome="")
    assert get(shop, decision.id).state == "dropped"


def test_what_is_settled_is_neither_changed_nor_settled_again_until_taken_up(shop):
    decision = made(shop)
    settled(shop, decision, state="done", outcome="a loose clamp")
    kept = get(shop, decision.id)
    with pytest.raises(ConflictError, match="take it up again"):
        changed(shop, kept, typed(owner="Jon"))
    with pytest.raises(ConflictError, match="take it up again"):
        settled(shop, kept, state="dropped", outcome="")
    with pytest.raises(ConflictError, match="meanwhile"):
        shop.write(take_up_again, decision.id, seen=mark_of(decision))
    shop.write(take_up_again, decision.id, seen=mark_of(kept))
    assert get(shop, decision.id).is_open


def test_an_unknown_number_is_said(shop):
    with pytest.raises(NotFoundError, match="got 77"):
        shop.write(settle, 77, state="done", outcome="x", seen="")


def test_overdue_ones_lead_and_settled_ones_of_two_weeks_close(shop):
    about = [About(week="2026-W46", row_key=f"came_back:{at}", said="x") for at in range(5)]
    far = made(shop, typed(due="2026-12-20"), about=about[0])
    near = made(shop, typed(due="2026-11-25"), about=about[1])
    old = made(shop, about=about[2])
    new = made(shop, about=about[3])
    gone = made(shop, about=about[4])
    now = NOW + timedelta(days=20)
    settled(shop, gone, at=now - SHOWN_SETTLED - timedelta(seconds=1), state="dropped", outcome="")
    settled(shop, old, at=now - SHOWN_SETTLED, state="done", outcome="x")
    settled(shop, new, at=now - timedelta(days=1), state="done", outcome="x")
    rows = before(shop, now=now)
    assert [row.decision.id for row in rows] == [near.id, far.id, new.id, old.id]
    assert [row.overdue for row in rows] == [True, False, False, False]


def test_a_later_week_shows_what_became_of_the_row(shop):
    made(shop)
    row = WeekRow(kind="came_back", subject=("hvac",), numbers={"n": 7})
    (there,) = before(shop, a_review("2026-W48", row))
    assert (there.compared, there.now) == (True, row)
    (gone,) = before(shop, a_review("2026-W48"))
    assert (gone.compared, gone.now) == (True, None)


@pytest.mark.parametrize("week", ["2026-W47", "2026-W40"])
def test_the_week_itself_and_earlier_ones_tell_nothing_of_what_became_of_it(shop, week):
    made(shop)
    row = WeekRow(kind="came_back", subject=("hvac",))
    for review in (None, a_review(week, row)):
        (shown,) = before(shop, review)
        assert (shown.compared, shown.now) == (False, None)

from kb.case.terms import load_vocabulary
from kb.workflow.week.rows import WeekRow
from kb.workflow.week.shares import share_of
from web.week_words.rows import say

WORDS = load_vocabulary()
FAN = WORDS.cause_name("condenser_fan_dead")


def said(kind, **numbers):
    return say(WeekRow(kind=kind, numbers=numbers), WORDS)


def test_new_cases_are_said_with_what_to_fill():
    told = said(
        "records",
        cases=12,
        complete=share_of(7, 12),
        verified=share_of(2, 3),
        worst=[{"job": "J1", "missing": ["proof", "after", "before", "holds", "fix"]}],
        weeks=[],
    )
    assert told.what == (
        "12 cases were added, 7 of them with readings before and after the repair."
    )
    assert told.numbers == (
        "Readings before and after: 7 of 12, with luck either way 32 to 81 %. "
        "Cause shown, not only inferred: 2 of 3, too few to tell."
    )
    assert told.do == (
        "Have somebody fill in what is missing: J1 (a proof that is more than inferred, readings "
        "after the repair, readings as found, what shows that it holds, what was done)."
    )
    one = said("records", cases=1, complete=share_of(1, 1), verified=share_of(1, 1), worst=[])
    assert one.what == "1 case was added, with readings before and after the repair."
    none = said("records", cases=2, complete=share_of(0, 2), verified=share_of(1, 2), worst=[])
    assert none.what == "2 cases were added, none with readings before and after the repair."
    assert one.do == ""


def inferred(*, p, more=False, causes=()):
    known = {"recent": share_of(7, 41), "before": share_of(0, 2), "p": p, "more": more}
    return said("inferred", causes=list(causes), **known)


def test_inferred_causes_are_said_with_what_the_difference_is_worth():
    few = inferred(p=None)
    assert few.what == "7 causes were only inferred, not shown."
    assert few.numbers == (
        "Last 8 weeks: 7 of 41, with luck either way 9 to 31 %. The 8 weeks before: 0 of 2, too "
        "few to tell. Too few to tell whether that is a change."
    )
    assert inferred(p=0.4).numbers.endswith("The difference may be luck.")
    more = inferred(p=0.01, more=True)
    assert more.what == "More causes than in the weeks before were only inferred, not shown."
    assert more.numbers.endswith("That is more than luck would do.")
    often = inferred(p=0.4, causes=[{"cause": "condenser_fan_dead", "share": share_of(3, 4)}])
    assert often.what.lower() == f"{FAN} was only inferred, not shown, in 3 of 4 cases.".lower()
    assert often.numbers.endswith(f"By cause: {FAN}: 3 of 4, too few to tell.")


def test_a_system_where_nothing_is_kept_is_named():
    systems = [
        {"system": "brakes", "share": share_of(0, 5)},
        {"system": "hvac", "share": share_of(6, 7)},
        {"system": None, "share": share_of(0, 1)},
    ]
    told = said("kept", all=share_of(6, 13), systems=systems)
    brakes = WORDS.systems["brakes"].name
    assert told.what == f"No job became a case in: {brakes}."
    assert told.do == "Ask why no cause is proven there."
    assert "system not written down: 0 of 1, too few to tell." in told.numbers
    told = said("kept", all=share_of(6, 7), systems=systems[1:2])
    assert (told.what, told.do) == ("Of 7 closed jobs in 8 weeks, 6 became cases.", "")


def test_the_spread_between_people_is_said_without_anybody():
    low, high = ({"share": at, "low": at - 0.1, "high": at + 0.15} for at in (0.35, 0.8))
    known = {"people": 4, "lowest": low, "highest": high}
    told = said("spread", p=0.001, more=True, **known)
    assert told.what.startswith("People differ by more than luck")
    assert told.numbers == (
        "4 people with 20 or more cases in 52 weeks. Evened out for small numbers, the lowest "
        "share is 35 % (25 to 50 %), the highest 80 % (70 to 95 %)."
    )
    assert told.do
    assert said("spread", p=0.5, more=False, **known).do == ""
    assert said("spread", p=None, more=False, **known).what.startswith("Too few to tell")

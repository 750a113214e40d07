from kb.case.terms import load_vocabulary
from kb.workflow.week.rows import Level, WeekRow
from web.week_words.rows import say

WORDS = load_vocabulary()
SIGN = {"inside": 5, "size": 6, "outside": 9, "others": 400, "span": "", "unit": ""}
SIGNS = [
    SIGN | {"part": "words", "what": "rail seal"},
    SIGN | {"part": "words", "what": "whistle"},
    SIGN | {"part": "reading", "what": "vent_temp", "span": "61 to 65", "unit": "degF"},
    SIGN | {"part": "reading", "what": "= odd_one|left", "span": "3"},
    SIGN | {"part": "symptom", "what": "hum that rises with speed"},
]


def group(**changes):
    numbers = {
        "jobs": 6,
        "vehicles": 5,
        "causes": [{"cause": "wheel_bearing", "count": 2}],
        "unnamed": 3,
        "looks_like": None,
        "signs": SIGNS,
        "words": {"now": 7, "of_now": 406, "before": 0, "of_before": 2400},
    }
    return say(WeekRow(kind="no_name", subject=("J1",), numbers=numbers | changes), WORDS)


def test_a_group_is_said_with_what_it_shares():
    told = group()
    assert told.what == "6 jobs from 5 cars are alike, and no one cause explains them."
    assert told.numbers == (
        "Causes: Wheel bearing rough (2); no cause written down (3). What they share: "
        "the words “rail seal” in 5 of 6, 9 of 400 other jobs; “whistle” in 5 of 6, 9 of 400 "
        "other jobs; Vent (panel outlet) air temperature 61 to 65 °F in 5 of 6, 9 of 400 other jobs; "
        "odd one, left 3 in 5 of 6, 9 of 400 other jobs; hum that rises with speed in 5 of 6, "
        "9 of 400 other jobs. Words like these came in 7 of 406 recent jobs, 0 of 2400 in the year "
        "before."
    )
    assert "side by side" in told.do


def test_a_group_of_one_known_cause_is_said_by_its_name():
    told = group(looks_like="wheel_bearing", unnamed=4)
    assert told.what == (
        "6 jobs look like “Wheel bearing rough”, but 4 of them have no cause written down."
    )
    assert "“Wheel bearing rough”" in told.do


def test_without_a_year_before_nothing_is_said_of_new_words():
    told = group(words={"now": 7, "of_now": 406, "before": 0, "of_before": 12}, unnamed=0)
    assert told.numbers.endswith("Too few jobs in the year before to tell whether this is new.")
    assert "no cause written down" not in told.numbers


def twin(**changes):
    numbers = {
        "first": "J1",
        "second": "J2",
        "same_vehicle": True,
        "days_apart": 0,
        "share": 0.9,
        "reasons": ["words: clatter behind", "Vent temperature 61 degF, there 61"],
    }
    return say(WeekRow(kind="twin", numbers=numbers | changes), WORDS)


def test_a_twin_is_said_with_why():
    told = twin()
    assert told.what == "J1 and J2 may be one job written down twice."
    assert told.numbers == (
        "The same car, on the same day. Alike in: words: clatter behind; "
        "Vent temperature 61 °F, there 61."
    )
    other = twin(same_vehicle=False, days_apart=0, reasons=[])
    assert other.numbers == "On the same day, and nothing says that it was another car."
    assert twin(days_apart=1, reasons=[]).numbers == "The same car, one day apart."


def same_readings(by_luck):
    numbers = {
        "jobs": [{"job": "J1", "cause": "wheel_bearing"}, {"job": "J2", "cause": "bad_fuel"}],
        "readings": ["Vent temperature 61 degF, there 61", "Speed 700 rpm, there 705"],
        "by_luck": by_luck,
    }
    return say(WeekRow(kind="same_readings", numbers=numbers), WORDS)


def test_the_same_readings_are_said_side_by_side():
    told = same_readings(0.0213)
    assert told.what == (
        "J1 and J2 have the same readings, and different causes: "
        f"Wheel bearing rough and {WORDS.cause_name('bad_fuel')}."
    )
    assert told.numbers == (
        "In J1, and there in J2: Vent temperature 61 °F, there 61; Speed 700 rpm, there 705. "
        "Pairs as close that luck alone would make in 8 weeks: 0.0213."
    )
    assert same_readings(1e-9).numbers.endswith("fewer than 0.01.")


ODD = {
    "job": "J1",
    "quantity": "vent_temp",
    "position": None,
    "typed": "68",
    "unit": "degC",
    "value": 68.0,
    "outside_limits": False,
    "own_platform": True,
    "held": {"count": 12, "middle": 20.0, "spread": 1.0},
    "deviations": 48.0,
    "meant": [{"recorded": "degC", "meant": "degF", "value": 20.0}],
}


def odd(*values, level=Level.LOOK, more=0):
    numbers = {"values": list(values), "more": more}
    return say(WeekRow(kind="odd_value", level=level, numbers=numbers), WORDS)


def test_a_wrong_unit_is_asked_for():
    told = odd(ODD)
    assert told.what == ("J1: Vent (panel outlet) air temperature 68 °C is odd. Was it °F?")
    assert told.numbers == (
        "20 °C is usual in 12 readings of its own model; read as °F it would be 20 °C."
    )


def test_other_odd_readings_are_listed():
    far = ODD | {"meant": [], "position": "centre", "own_platform": False}
    alone = ODD | {"job": "J2", "held": None, "outside_limits": True, "quantity": "snout"}
    told = odd(far, alone, level=Level.KNOW, more=2)
    assert told.what.startswith("4 readings of the week far from what is usual")
    assert told.numbers == (
        "J1, Vent (panel outlet) air temperature 68 °C, centre (20 °C is usual in 12 readings of "
        "cars with work on this system); J2, snout 68 °C (outside what can be, too few readings "
        "to tell what is usual); and 2 more."
    )
    assert odd(far | {"quantity": "snout"}, level=Level.KNOW).numbers.startswith(
        "J1, snout 68 °C, centre (20 is usual"
    )

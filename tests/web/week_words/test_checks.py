from kb.case.terms import load_vocabulary
from kb.workflow.week.rows import WeekRow
from kb.workflow.week.shares import share_of
from web.week_words.rows import say

WORDS = load_vocabulary()


def said(kind, subject, **numbers):
    return say(WeekRow(kind=kind, subject=subject, numbers=numbers), WORDS)


def test_what_paid_is_said_in_minutes_and_not_in_bits():
    told = said(
        "check_paid", ("battery_test",), runs=14, written=12, bits_per_minute=0.2, low=0.1,
        high=0.25, changed=5,
    )  # fmt: skip
    assert told.what == f"{WORDS.check_name('battery_test')}: tells much for its time."
    assert (
        "in about 5 minutes of work (with luck either way 4 to 10), over 14 times" in told.numbers
    )
    assert "another cause came first after 5 of them" in told.numbers
    assert "not written down 2 times" in told.numbers
    assert "bit" not in told.numbers


def test_what_changes_nothing_is_said_with_its_interval_and_its_minutes():
    told = said(
        "check_idle", ("battery_test",), share=share_of(11, 12), minutes=61.0, minutes_known=9
    )
    assert "11 of 12, with luck either way 65 to 99 %" in told.numbers
    assert "61 minutes in all, written down 9 times." in told.numbers
    assert "stays" in told.do


def test_minutes_that_nobody_wrote_down_are_not_said():
    told = said(
        "check_idle", ("battery_test",), share=share_of(11, 12), minutes=None, minutes_known=0
    )
    assert "minute" not in told.numbers


def test_what_was_left_out_is_said_with_its_reasons():
    told = said(
        "check_skipped", ("battery_test",), share=share_of(3, 5), said=1, notes=["no tester"]
    )
    assert "stood first and was left out 3 times" in told.what
    assert "1 written down as not done and 2 without a reason" in told.numbers
    assert "Written beside it: no tester." in told.numbers
    without = said("check_skipped", ("battery_test",), share=share_of(3, 5), said=0, notes=[])
    assert "3 without a reason." in without.numbers
    assert "beside" not in without.numbers


def test_what_takes_longer_is_said_for_its_car():
    numbers = {"runs": 6, "low": 30.0, "middle": 33.0, "high": 41.0, "expected": 9.5}
    told = said("slow_check", ("battery_test", "Pellarin", "Copse", "2.0"), **numbers)
    assert "takes longer than reckoned on Pellarin Copse 2.0" in told.what
    assert "took 33 minutes, the middle half 30 to 41; reckoned" in told.numbers
    assert "9.5 minutes" in told.numbers
    assert "cars without a make" in said("slow_check", ("battery_test", "", "", ""), **numbers).what

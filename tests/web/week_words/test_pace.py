from kb.case.terms import load_vocabulary
from kb.workflow.week.pace import quartiles
from kb.workflow.week.rows import WeekRow
from web.week_words.rows import say

WORDS = load_vocabulary()


def said(recent, before=(), minutes=()):
    numbers = {
        "weeks": [],
        "recent": quartiles(recent),
        "before": quartiles(before),
        "minutes": quartiles(minutes),
    }
    return say(WeekRow(kind="pace", numbers=numbers), WORDS)


def test_days_are_said_for_half_of_the_jobs_and_for_the_middle_half():
    told = said([0.0, 1.0, 2.0, 3.0, 9.0], [1.0] * 5, [10.0, 20.0, 30.0, 40.0, 50.0])
    assert told.what == (
        "Half of the jobs with a proven cause in the last 8 weeks were closed within 2 days."
    )
    assert told.numbers == (
        "Last 8 weeks: the middle half of 5 jobs took 1 to 3 days; the year before: the middle "
        "half of 5 jobs took 1 day. Checks took 30 minutes on the middle one of 5 jobs with minutes "
        "written down, 20 to 40 on the middle half."
    )


def test_few_jobs_are_too_few_to_tell():
    told = said([1.0, 2.0])
    assert told.what.startswith("Too few jobs")
    assert told.numbers == (
        "Last 8 weeks: 2 jobs, too few to tell; the year before: 0 jobs, too few to tell."
    )


def test_a_day_of_zero_is_the_day_of_coming_in():
    assert "closed on the day they came in." in said([0.0] * 5).what

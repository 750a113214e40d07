import pytest

from kb.workflow.week.matters import Matter, matters, same_matter
from kb.workflow.week.rows import WeekRow

CAUSE = WeekRow(kind="rising_cause", subject=("fan_dead",), cases=("J1", "J2", "J3", "J4"))
PAIR = WeekRow(kind="rising_pair", subject=("fan_dead", "Aldenroe"), cases=("J8", "J9"))
COMPLAINT = WeekRow(kind="rising_complaint", subject=("no_cool",), cases=("J3", "J4", "J7"))
OTHER = WeekRow(kind="rising_cause", subject=("leak",), cases=("J5",))


def test_a_pair_belongs_to_its_cause_and_a_complaint_to_the_cause_of_its_cases():
    assert same_matter(CAUSE, PAIR)
    assert same_matter(CAUSE, COMPLAINT)
    assert not same_matter(OTHER, CAUSE)
    assert not same_matter(OTHER, PAIR)


def test_sharing_fewer_than_half_of_the_cases_is_another_matter():
    far = WeekRow(kind="rising_complaint", subject=("x",), cases=("J1", "J7", "J8"))
    assert not same_matter(CAUSE, far)


def test_a_list_of_all_sorts_of_jobs_takes_no_matter_in():
    assert not same_matter(CAUSE, WeekRow(kind="old_job", cases=CAUSE.cases))
    safety = WeekRow(kind="safety", cases=("J1",))
    assert not same_matter(safety, WeekRow(kind="declined", cases=CAUSE.cases))
    assert not same_matter(WeekRow(kind="failed_part"), WeekRow(kind="no_name"))


@pytest.mark.parametrize("rows", [(CAUSE, PAIR, OTHER), (PAIR, CAUSE, OTHER), (PAIR, OTHER, CAUSE)])
def test_the_cause_leads_wherever_it_stood(rows):
    first, second = matters(rows, most=2)
    assert (first.lead, first.others) == (CAUSE, (PAIR,))
    assert (second.lead, second.others) == (OTHER, ())


def test_rows_of_no_other_matter_stand_alone_in_their_order():
    assert [matter.lead for matter in matters((OTHER, CAUSE), most=2)] == [OTHER, CAUSE]
    assert matters((), most=2) == ()


def test_rows_of_the_first_matters_are_found_behind_those_of_later_ones():
    assert matters((OTHER, CAUSE, PAIR), most=1) == (Matter(lead=OTHER),)
    safety = WeekRow(kind="safety")
    (first,) = matters((PAIR, OTHER, safety, CAUSE), most=1)
    assert (first.lead, first.others) == (CAUSE, (PAIR,))

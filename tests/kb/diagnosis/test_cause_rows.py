from kb.diagnosis.cause_rows import CauseRows
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.layers import LayeredIndex

NUMBERS = {"worn": 0, "loose": 1, "never": 2}


def case(number, cause):
    return CaseFeatures(case=f"C{number}", said="squeal", cause=cause)


BASE = CaseIndex().fit([case(1, "worn"), case(3, "loose"), case(5, None), case(7, "worn")])


def test_cases_are_told_by_cause():
    rows = CauseRows.of(BASE, NUMBERS)
    assert rows.cause_of.tolist() == [0, 1, -1, 0]
    assert rows.cases == (("C1", "C7"), ("C3",), ())


def test_later_cases_are_among_them_and_changed_ones_move():
    later = [case(7, "loose"), case(2, "worn"), case(4, "new here")]
    index = LayeredIndex(BASE).changed(later, ["C7", "C2", "C4", "C3"])
    rows = CauseRows.of(BASE, NUMBERS).following(index)
    assert rows.cases == (("C1", "C2"), ("C7",), ())
    of = {index.ids_[row]: at for row, at in enumerate(rows.cause_of.tolist()) if at >= 0}
    assert of == {"C1": 0, "C2": 0, "C7": 1}
    assert rows.fitted.tolist() == [0, 1, -1, 0]


def test_a_second_change_starts_from_what_was_fitted():
    first = LayeredIndex(BASE).changed([case(7, "loose")], ["C7"])
    second = first.changed([case(7, "worn"), case(8, "worn")], ["C7", "C8"])
    rows = CauseRows.of(BASE, NUMBERS).following(first).following(second)
    assert rows.cases == (("C1", "C7", "C8"), ("C3",), ())


def test_cases_come_back_out_of_arrays_and_ids_are_made_when_asked_for():
    rows = CauseRows.of(BASE, NUMBERS)
    again = CauseRows.restored(BASE, NUMBERS, rows.as_arrays())
    assert again.cases == rows.cases
    assert again.cause_of.tolist() == rows.cause_of.tolist()
    assert [again.of_cause(at).tolist() for at in range(3)] == [[0, 3], [1], []]
    assert again.sizes.tolist() == [2, 1, 0]
    assert (again.cases[0][:1], len(again.cases[0]), again.cases[0][-1]) == (("C1",), 2, "C7")

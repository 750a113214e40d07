from datetime import datetime, timedelta, timezone

import pytest

from kb.errors import StoreError
from kb.store.journal import HistoryLine, PastLine, Pen, generation, next_job_number
from tests.factories import a_job
from tests.kb.store.other_process import NOW


def test_history_keeps_who_when_verb_and_what(store):
    with store.write("Ana", NOW) as unit:
        unit.history.add("sign in", None, "from the front desk")
    with store.read() as unit:
        assert unit.history.since(0) == (
            HistoryLine(
                seq=1, at=NOW, who="Ana", verb="sign in", job_id=None, what="from the front desk"
            ),
        )


def test_history_of_a_job_holds_its_own_lines_only(store):
    with store.write("Ana", NOW) as unit:
        unit.jobs.add(a_job("J1"), verb="open")
        unit.jobs.add(a_job("J2"), verb="open")
        unit.history.add("print", "J1", "for the customer")
    with store.read() as unit:
        assert [line.verb for line in unit.history.of("J1")] == ["open", "print"]
        assert [line.verb for line in unit.history.of("J2")] == ["open"]
        assert unit.history.of("J3") == ()


def test_the_last_lines_of_a_job_come_oldest_first_without_those_of_one_verb(store):
    with store.write("Ana", NOW) as unit:
        for verb in ("open", "add", "photo", "wait", "photo"):
            unit.history.add(verb, "J1", verb)
        unit.history.add("open", "J2", "")

    def verbs(most):
        return [line.verb for line in unit.history.last_of("J1", most, but="photo")]

    with store.read() as unit:
        assert [verbs(most) for most in (1, 2, 9)] == [["wait"], ["add", "wait"],
                                                       ["open", "add", "wait"]]  # fmt: skip
        (line,) = unit.history.last_of("J1", 1, but="photo")
        assert line == unit.history.of("J1")[3]
        assert unit.history.last_of("J3", 1, but="photo") == ()


def test_the_last_line_is_numbered_zero_before_there_is_one(store):
    with store.write("Ana", NOW) as unit:
        assert unit.history.last_seq() == 0
        unit.history.add_many("import", ["J1", "J2"], "")
        assert unit.history.last_seq() == 2
        assert [line.job_id for line in unit.history.since(1)] == ["J2"]
        assert unit.history.touched_since(1) == ("J2",)


def test_a_line_of_another_time_keeps_its_own_person_and_moment(store):
    then = datetime(2024, 2, 5, 16, 30, tzinfo=timezone(timedelta(hours=1)))
    with store.write("Ana", NOW) as unit:
        unit.history.add_past([("J1", PastLine(at=then, who="Birte", verb="close", what="fixed"))])
        (line,) = unit.history.of("J1")
    assert (line.at, line.who, line.verb, line.what) == (then, "Birte", "close", "fixed")
    with store.read() as unit, pytest.raises(StoreError, match=r"expected Store\.write"):
        unit.history.add_past([])


def test_no_job_writes_no_line(store):
    with store.write("Ana", NOW) as unit:
        unit.history.add_many("import", [], "")
        unit.history.add_past([])
        assert unit.history.since(0) == ()


def test_a_setting_is_none_until_it_is_set_and_can_be_set_again(store):
    with store.write("Ana", NOW) as unit:
        assert unit.settings.get("shop") is None
        unit.settings.set("shop", "one")
        unit.settings.set("shop", "two")
    with store.read() as unit:
        assert unit.settings.get("shop") == "two"


def test_job_numbers_go_up_by_one_and_leave_the_generation_alone(store):
    with store.write("Ana", NOW) as unit:
        assert [next_job_number(unit.connection) for _ in range(3)] == [1, 2, 3]
        assert generation(unit.connection) == 0


def test_a_pen_without_a_name_refuses_to_write(store):
    with store.read() as unit, pytest.raises(StoreError, match=r"expected Store\.write"):
        Pen(unit.connection, who=None, at=None).require()

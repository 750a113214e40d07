import pytest

from kb.errors import ConflictError, NotFoundError, StoreError
from tests.kb.store.other_process import NOW


def write(store, verb, who="Ines"):
    with store.write(who, NOW) as unit:
        return verb(unit)


def lines(store):
    with store.read() as unit:
        return [(line.verb, line.what, line.job_id) for line in unit.history.since(0)]


@pytest.fixture
def ines(store):
    return write(store, lambda unit: unit.people.add("Ines", "technician"))


def get(store, person_id):
    with store.read() as unit:
        return unit.people.get(person_id)


def test_a_person_is_found_by_number_and_by_name_in_whatever_case(store, ines):
    with store.read() as unit:
        person = unit.people.get(ines)
        assert unit.people.named("INES") == person
        assert unit.people.named("Jonas") is None
        with pytest.raises(NotFoundError, match="got number 99"):
            unit.people.get(99)
    assert (person.name, person.role, person.active) == ("Ines", "technician", True)
    assert (person.password_hash, person.pin_hash, person.created) == (None, None, NOW)


def test_people_stand_by_name(store, ines):
    for name in ("bo", "Arne"):
        write(store, lambda unit, name=name: unit.people.add(name, "viewer"))
    with store.read() as unit:
        assert [person.name for person in unit.people.all()] == ["Arne", "bo", "Ines"]


@pytest.mark.parametrize("name", ["Ines", "ines"])
def test_two_people_never_have_one_name(store, ines, name):
    with pytest.raises(ConflictError, match="there already"):
        write(store, lambda unit: unit.people.add(name, "viewer"))


def test_every_write_is_one_line_of_history_without_a_secret(store, ines):
    write(store, lambda unit: unit.people.set_role(ines, "foreman"))
    write(store, lambda unit: unit.people.set_hashes(ines, password_hash="$secret"))
    write(store, lambda unit: unit.people.set_hashes(ines, password_hash="$b", pin_hash="$p"))
    write(store, lambda unit: unit.people.set_hashes(ines))
    write(store, lambda unit: unit.people.set_active(ines, active=False))
    write(store, lambda unit: unit.people.set_active(ines, active=True))
    assert lines(store) == [
        ("person added", "Ines as technician", None),
        ("role", "Ines: technician, now foreman", None),
        ("password", "Ines", None),
        ("password and PIN", "Ines", None),
        ("person taken out", "Ines", None),
        ("person brought back", "Ines", None),
    ]
    person = get(store, ines)
    assert (person.role, person.password_hash, person.pin_hash) == ("foreman", "$b", "$p")
    assert "$b" not in repr(person)


def test_nobody_is_written_about_in_a_unit_that_only_reads_or_under_a_wrong_number(store, ines):
    with store.read() as unit, pytest.raises(StoreError, match=r"Store\.write"):
        unit.people.set_role(ines, "owner")
    with pytest.raises(NotFoundError):
        write(store, lambda unit: unit.people.set_role(99, "owner"))
    assert get(store, ines).role == "technician"
    assert len(lines(store)) == 1

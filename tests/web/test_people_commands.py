import re
from datetime import UTC, datetime
from getpass import getuser

from kb.store.engine import default_url, open_store
from tests.web.test_cli import empty, terminal

__all__ = ["empty", "terminal"]

LINK = re.compile(r"http://127\.0\.0\.1:8023/sign-in/[\w-]{43}\n")


def people(terminal):
    return {row["name"]: row for row in terminal.told("user", "list", "--json")["people"]}


def test_a_person_is_added_with_a_link_to_hand_over(empty):
    text = empty.said("user", "add", "Ines Holm", "--role", "foreman")
    assert LINK.search(text)
    assert people(empty)["Ines Holm"] == {
        "name": "Ines Holm", "role": "foreman", "active": True, "password": False, "pin": False,
        "one_time_code": False, "sessions": 0,
    }  # fmt: skip
    with open_store(default_url(empty.home)) as store, store.read() as unit:
        lines = unit.history.since(0)
    assert [(line.who, line.verb) for line in lines] == [
        (getuser(), "person added"),
        (getuser(), "link"),
    ]


def test_the_list_is_a_table_in_words(empty):
    empty.run("user", "add", "Ines Holm")
    empty.run("user", "add", "Mara", "--role", "owner")
    empty.run("user", "off", "Ines Holm")
    head, ines, mara = empty.said("user", "list").splitlines()
    assert head.split()[:2] == ["name", "role"]
    assert "taken out" in ines
    assert mara.split()[:2] == ["Mara", "owner"]
    assert "neither yet" in mara


def test_a_link_a_role_out_and_back(empty):
    empty.run("user", "add", "Ines")
    text = empty.said("user", "link", "ines", "--address", "http://bay.example:8023/")
    assert "http://bay.example:8023/sign-in/" in text
    assert empty.said("user", "role", "Ines", "advisor") == "Ines: advisor\n"
    assert "taken out" in empty.said("user", "off", "Ines")
    assert not people(empty)["Ines"]["active"]
    assert "bring Ines back" in empty.said("user", "link", "Ines", code=1)
    empty.run("user", "on", "Ines")
    assert people(empty)["Ines"]["active"]


def test_what_cannot_be_done_is_told_in_one_line(empty):
    empty.run("user", "add", "Mara", "--role", "owner")
    assert "last one" in empty.said("user", "off", "Mara", code=1)
    assert "last one" in empty.said("user", "role", "Mara", "viewer", code=1)
    assert "there already" in empty.said("user", "add", "mara", code=1)
    assert "Jonas" in empty.said("user", "link", "Jonas", code=1)
    assert "king" in empty.said("user", "role", "Mara", "king", code=2)


def test_a_lost_phone_is_helped_on_the_machine(empty):
    empty.run("user", "add", "Mara", "--role", "owner")
    at = datetime.now(UTC)
    with open_store(default_url(empty.home)) as store, store.write("Mara", at) as unit:
        mara = unit.people.named("Mara")
        assert mara is not None
        unit.people.set_code(mara.id, secret="A" * 32, step=1)
    assert people(empty)["Mara"]["one_time_code"]
    assert "one-time code" in empty.said("user", "list")
    assert "without a one-time code" in empty.said("user", "no-code", "mara")
    assert not people(empty)["Mara"]["one_time_code"]

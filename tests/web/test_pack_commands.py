import pytest
from click.testing import CliRunner

from kb.case.model import Complaint, Origin
from kb.store.engine import default_url, open_store
from tests.factories import a_case
from tests.kb.workflow.conftest import NOW
from tests.kb.workflow.packs.hostile import archives
from tests.web.test_cli import Terminal, empty
from web.cli import main

__all__ = ["empty"]

SAID = Complaint(said="Mrs Hale, 555-0134: blows warm at lights")


@pytest.fixture
def sender(empty):
    cases = [
        a_case("J1", complaint=SAID, invoice="A-2210"),
        a_case("J2", "starter_worn", system="starting_charging"),
        a_case("J3", "our_own_cause"),
    ]
    with open_store(default_url(empty.home)) as store, store.write("Ines", NOW) as unit:
        unit.jobs.add_many(cases, verb="import")
    return empty


@pytest.fixture
def pack(sender, tmp_path):
    """Return the file that a shop gave; the shop of the commands is another one by then."""
    sender.said("pack", str(tmp_path / "p.zip"), "--name", "Northgate", "--yes")
    return str(tmp_path / "p.zip")


@pytest.fixture
def receiver(pack, tmp_path, monkeypatch):
    made = Terminal(tmp_path / "receiver")
    monkeypatch.setenv("BAYBOOK_HOME", str(made.home))
    made.said("init")
    return made


def closed(home):
    with open_store(default_url(home)) as store, store.read() as unit:
        return unit.jobs.closed_jobs()


def gifts(home):
    with open_store(default_url(home)) as store, store.read() as unit:
        return [row.what for row in unit.history.since(0) if row.verb == "give"]


def test_the_sender_sees_what_goes_and_writes_it_only_after_yes(sender, tmp_path):
    file = tmp_path / "p.zip"
    words = ["pack", str(file), "--name", "Northgate"]
    asked = CliRunner().invoke(main, words, input="n\n")
    assert asked.exit_code == 1
    assert not file.exists()
    assert gifts(sender.home) == []
    for part in (
        "2 cases would go; 1 are held back",
        "Blanked in their texts: person 1, phone number 1",
        "phone number: 555-0134",
        "its cause is a word of this shop alone",
        f"Write these 2 cases to {file}?",
    ):
        assert part in asked.output
    assert CliRunner().invoke(main, words, input="y\n").exit_code == 0
    assert file.exists()
    assert gifts(sender.home) == ["2 cases as Northgate"]


def test_each_case_can_be_read_as_the_other_shop_would_read_it(sender, tmp_path):
    words = ["pack", str(tmp_path / "p.zip"), "--name", "N", "--yes"]
    text = sender.said(*words, "--texts", "--without", "J2")
    assert "J1 goes as\n+++" in text
    assert 'said = "Mrs […], […]: blows warm at lights"' in text
    assert "J2 goes as" not in text


def test_a_pack_can_be_of_one_system_and_never_overwrites_a_file(sender, tmp_path):
    words = ["pack", str(tmp_path / "p.zip"), "--name", "N", "--yes"]
    assert "wrote 1 cases" in sender.said(*words, "--system", "starting_charging")
    before = (tmp_path / "p.zip").read_bytes()
    assert "expected a new file" in sender.said(*words, code=2)
    assert (tmp_path / "p.zip").read_bytes() == before
    assert "expected one of the list" in sender.said(
        "pack", str(tmp_path / "q.zip"), "--name", "N", "--system", "sails", code=2
    )


def test_nothing_is_noted_where_the_file_cannot_be_written(sender, tmp_path):
    words = ["pack", str(tmp_path / "no" / "p.zip"), "--name", "N", "--yes"]
    assert "expected room to write" in sender.said(*words, code=1)
    assert gifts(sender.home) == []


def test_a_pack_is_read_dry_then_taken_in_once(receiver, pack):
    dry = receiver.told("unpack", pack, "--dry-run", "--json")
    assert {key: dry[key] for key in ("shop", "good", "new", "added", "refused", "why")} == {
        "shop": "Northgate", "good": 2, "new": 2, "added": 0, "refused": 0, "why": [],
    }  # fmt: skip
    assert closed(receiver.home) == ()
    assert receiver.told("unpack", pack, "--json")["added"] == 2
    assert "added: 0" in receiver.said("unpack", pack)
    assert {job.origin for job in closed(receiver.home)} == {Origin.ANOTHER_SHOP}


def test_the_answers_say_that_a_case_is_from_another_shop(receiver, pack):
    receiver.said("unpack", pack)
    (match, *_) = receiver.told("find", "blows warm at lights", "--json")["matches"]
    assert match["origin"] == "another_shop"
    text = " ".join(receiver.said("find", "blows warm at lights").split())
    assert "from another shop" in text or "another shop)" in text


def test_a_shop_does_not_take_in_its_own_pack(sender, pack):
    assert "expected another shop's pack" in sender.said("unpack", pack, code=1)


def test_a_hostile_pack_is_told_in_one_line_and_nothing_is_taken(receiver, tmp_path):
    file = tmp_path / "evil.zip"
    for _, content in list(archives())[:12]:
        file.write_bytes(content)
        text = receiver.said("unpack", str(file), code=1)
        assert "Error: expected" in text
    assert closed(receiver.home) == ()


def test_a_shop_without_a_proven_case_of_its_own_is_told_so_and_asked_nothing(empty, tmp_path):
    asked = CliRunner().invoke(main, ["pack", str(tmp_path / "p.zip"), "--name", "Northgate"])
    assert asked.exit_code == 1
    assert "expected proven cases of the shop's own to give, got none" in asked.output
    assert "[y/N]" not in asked.output
    assert not (tmp_path / "p.zip").exists()


def test_a_dry_run_says_that_nothing_was_taken_in(receiver, pack):
    assert "a dry run: 2 cases would be taken in, none was" in receiver.said(
        "unpack", pack, "--dry-run"
    )

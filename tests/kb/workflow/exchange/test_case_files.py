import json

import pytest

from kb.case.casefile import MAX_FILE_BYTES, read_case
from kb.workflow.exchange.case_files import file_name
from tests.factories import a_case
from tests.kb.workflow.exchange.conftest import Place
from tests.whole_shop import held


@pytest.mark.parametrize(
    "job_id", ["../x", "a/b", "", "CON", "j1", "J1", "J000001 ", "a\x00", "J" + "1" * 40, "é"]
)
def test_an_id_that_is_no_safe_name_gives_none(job_id):
    name = file_name(job_id)
    assert name.startswith("case-")
    assert name.removesuffix(".md").replace("-", "").isalnum()


def test_names_are_apart_where_case_is_ignored():
    ids = ["J000001", "j000001", "Wabc", "WABC", "wabc"]
    assert len({file_name(job_id).lower() for job_id in ids}) == len(ids)


def test_a_case_file_is_read_by_itself(out):
    text = (out / "cases" / "J900004.md").read_text("utf-8")
    assert read_case(text).id == "J900004"


def change_line(out, **changes):
    path = out / "cases" / "beside.jsonl"
    made = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
    for line in made:
        if line.get("file") == "J900004.md":
            line.update(changes)
    path.write_text("".join(json.dumps(line) + "\n" for line in made), "utf-8")


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"file": "../../secret.md"}, "plain file name"),
        ({"file": "/etc/passwd"}, "plain file name"),
        ({"file": 4}, "plain file name"),
        ({"file": "J404.md"}, "expected the file J404.md"),
        ({"body": "another"}, "expected the text of"),
        ({"body": 1}, "expected the text of"),
        ({"job": {}}, "nothing beside a job"),
    ],
)
def test_a_line_that_names_no_case_file_is_refused(empty, out, changes, said):
    change_line(out, **changes)
    taken = empty.take(out, "cases")
    assert said in taken.refused[0].reason


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"\xff", "UTF-8"), (b"no header", "expected"), (b"x" * 4_000_001, "at most 4000000")],
)
def test_a_case_file_that_cannot_be_read_is_refused_and_the_others_come(empty, out, content, said):
    (out / "cases" / "J900004.md").write_bytes(content)
    taken = empty.take(out, "cases")
    (row,) = taken.refused
    assert said in row.reason
    assert taken.added["jobs"] == 3


def test_case_files_that_somebody_put_beside_come_too(empty, out):
    text = (out / "cases" / "J900004.md").read_text("utf-8").replace("J900004", "J900005")
    (out / "cases" / "new.md").write_text(text, "utf-8")
    (out / "cases" / "broken.md").write_text("+++\nid = \n+++\n", "utf-8")
    taken = empty.take(out, "cases")
    assert taken.added["jobs"] == 5
    assert [(row.place.file, row.place.line) for row in taken.refused] == [("broken.md", 2)]


def test_line_ends_of_a_text_and_long_texts_are_kept(tmp_path, empty):
    shop = Place(tmp_path / "other")
    with shop.store:
        lines = ("x" * 10_000,) * (MAX_FILE_BYTES // 10_000 + 1)
        shop.put(a_case("J900001", body="a\r\nb\rc\n"), a_case("J900002", lines=lines))
        shop.export(tmp_path / "out", "cases")
        assert empty.take(tmp_path / "out").refused == []
        assert held(empty.store) == held(shop.store)

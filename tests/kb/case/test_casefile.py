import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from kb.case.casefile import (
    MAX_FILE_BYTES,
    main,
    read_case,
    read_folder,
    write_case,
)
from kb.case.terms import load_vocabulary
from kb.errors import CaseFileError
from kb.store.migrate import bundled
from tests.factories import a_case, a_full_case, a_job
from tests.kb.strategies import jobs


@given(jobs())
@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
def test_every_job_comes_back_from_its_file_unchanged(job):
    assert read_case(write_case(job)) == job


def test_a_case_with_something_in_every_list_comes_back_unchanged():
    job = a_full_case()
    assert read_case(write_case(job)) == job


def test_a_file_above_the_size_cap_is_refused():
    fits = write_case(a_job(body=""))
    room = MAX_FILE_BYTES - len(fits.encode())
    assert read_case(fits + "x" * room).body == "x" * room
    with pytest.raises(CaseFileError, match=str(MAX_FILE_BYTES)):
        read_case(fits + "x" * (room + 1))


def test_one_broken_file_does_not_keep_the_others_out(tmp_path):
    (tmp_path / "a.md").write_text(write_case(a_case("A")), encoding="utf-8")
    (tmp_path / "b.md").write_text("+++\nid = \n+++\n", encoding="utf-8")
    (tmp_path / "c.md").write_bytes(b"+++\nid = '\xff'\n+++\n")
    (tmp_path / "d.md").write_bytes(b"x" * (MAX_FILE_BYTES + 1))
    (tmp_path / "e.md").write_text(write_case(a_case("E")), encoding="utf-8")
    (tmp_path / "notes.txt").write_text("not a case", encoding="utf-8")
    read, refused = read_folder(tmp_path)
    assert [job.id for job in read] == ["A", "E"]
    assert [error.name for error in refused] == ["b.md", "c.md", "d.md"]
    assert refused[0].line == 2


def test_the_command_prints_one_line_for_each_problem(tmp_path, capsys):
    good, bad = tmp_path / "good.md", tmp_path / "bad.md"
    good.write_text(write_case(a_case()), encoding="utf-8")
    bad.write_text("+++\nid = 'x'\n", encoding="utf-8")
    assert main([str(good), str(bad)]) == 1
    printed = capsys.readouterr().out.splitlines()
    assert len(printed) == 2
    assert str(bad) in printed[0]
    assert printed[1] == "2 files, 1 problems"


def test_the_command_ends_with_an_error_when_a_file_is_broken(tmp_path):
    bad = tmp_path / "bad.md"
    bad.write_text("nothing", encoding="utf-8")
    ended = subprocess.run(
        [sys.executable, "-m", "kb.case.casefile", str(bad)],
        cwd=Path(__file__).parents[3],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ended.returncode == 1
    assert "bad.md, line 1: expected '+++'" in ended.stdout


def test_the_demonstration_shop_reads_without_a_problem():
    read, refused = read_folder(bundled("seed_cases"))
    assert refused == ()
    assert read
    for job in read:
        assert read_case(write_case(job)) == job


def test_two_hundred_case_files_are_read_in_well_under_a_second_and_a_half(tmp_path):
    job = a_full_case()
    for number in range(200):
        case = replace(job, id=f"C{number}", invoice=None, reading_sets=job.reading_sets * 3)
        (tmp_path / f"C{number}.md").write_text(write_case(case), encoding="utf-8")
    load_vocabulary()
    start = time.process_time()
    read, refused = read_folder(tmp_path)
    assert (len(read), refused) == (200, ())
    assert time.process_time() - start < 1.5

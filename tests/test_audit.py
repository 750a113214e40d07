"""What is printed of an audit: a weakness fails it, and asking nobody is no pass."""

import pytest

from tests.audit import main, told

GOOD = {"name": "flask", "version": "3.1.3", "vulns": []}
WEAK = {"name": "jinja2", "version": "2.4.1", "vulns": [{"id": "PYSEC-2014-8"}]}
SKIPPED = {"name": "nh3", "skip_reason": "Dependency not found on PyPI"}


def test_a_known_weakness_fails_the_audit_and_is_named():
    words, code = told({"dependencies": [GOOD, WEAK, SKIPPED]})
    assert code == 1
    assert words.startswith("audited 2 of 3 libraries, 1 with")
    assert "jinja2 2.4.1: PYSEC-2014-8" in words


def test_an_audit_without_a_finding_says_how_many_were_asked_about():
    assert told({"dependencies": [GOOD, SKIPPED]}) == (
        "audited 1 of 2 libraries, 0 with a known weakness",
        0,
    )


def test_asking_about_nothing_is_never_a_pass_in_silence():
    words, _ = told({"dependencies": [SKIPPED]})
    assert words.startswith("NOT AUDITED")


@pytest.mark.parametrize("program", ["/bin/false", "/bin/echo"])
def test_a_program_that_cannot_ask_is_never_a_pass_in_silence(program, capsys):
    main(program)
    assert capsys.readouterr().out.startswith("NOT AUDITED")

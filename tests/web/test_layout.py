import json
import re
from pathlib import Path

import pytest

import web
from tests.web.test_cli import empty, terminal
from web.layout import table, visible, visible_json

__all__ = ["empty", "terminal"]

# Erase the screen, take a title, colour by C1, go back and write over, turn round, end a line.
HOSTILE = "fan\x1b[2J\x1b]0;title\x07\x9b31m\r\x08over\u202ethgir\u2066\u2028\x7f\x00 dead"
STEERING = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\u2028\u2029]")


def test_a_table_keeps_its_columns_and_a_long_cell_runs_on_below_itself():
    lines = table([("a", "one two three"), ("bb", "x")], widths=(3, 7))
    assert lines == ["a    one two", "     three", "bb   x"]


@pytest.mark.source("ECMA-48", "5.3 and 5.4: C0 00 to 1F, C1 80 to 9F, DEL 7F")
def test_signs_that_steer_a_terminal_are_spelled_out_and_others_stay():
    shown = visible(HOSTILE)
    assert not STEERING.search(shown)
    assert shown.startswith(r"fan\x1b[2J\x1b]0;title\x07\x9b31m\r\x08over\u202ethgir")
    for sign in map(chr, [*range(0x20), *range(0x7F, 0xA0)]):
        assert (visible(sign) == sign) is (sign == "\n")
    for text in ("92 °F – “warm”", "two\nlines", "Åse 李 🔧", "é"):
        assert visible(text) == text


def test_json_says_the_same_without_such_signs():
    line = visible_json(json.dumps({"text": HOSTILE + "\ud800"}, ensure_ascii=False))
    assert not STEERING.search(line)
    assert json.loads(line) == {"text": HOSTILE + "\ud800"}


def test_what_somebody_typed_steers_no_terminal(terminal):
    typed = HOSTILE.replace("\x00", "")
    job = terminal.opened(f"no crank {typed}", "--said", typed)
    asked = (
        ("show", job), ("show", job, "--json"), ("add", job, typed),
        ("find", typed), ("find", typed, "--json"), ("week",),
    )  # fmt: skip
    told: dict[tuple[str, ...], str] = {words: terminal.run(*words).output for words in asked}
    told["an error",] = terminal.said("show", typed, code=1)
    for words, text in told.items():
        assert text, words
        assert not STEERING.search(text), words
    assert r"\x1b[2J" in told["show", job]


def test_all_that_is_printed_goes_by_the_one_door():
    rooms = Path(web.__file__).parent
    raw = [
        f"{path.relative_to(rooms)}:{number}"
        for path in rooms.rglob("*.py")
        for number, line in enumerate(path.read_text("utf-8").splitlines(), 1)
        if re.search(r"click\.(echo|secho|echo_via_pager)\(|^\s*print\(", line)
        and path.name != "layout.py"
    ]
    assert raw == [], "print by web.layout.say"

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.case.amend import CHANGES
from kb.case.terms import load_vocabulary
from kb.workflow.jobs import draft_job
from web.typed import typed_lines

WORDS = load_vocabulary()


def stretches(read, job):
    (line,) = typed_lines((read,), job)
    return line.stretches


def marked(text, kind, job=None):
    entry = draft_job(text, words=WORDS, today=date(2026, 5, 4))
    return [row.text for row in stretches(entry.parsed, job or entry.job) if row.kind == kind]


def test_each_piece_is_marked_where_it_stands():
    text = "cold on the road, warm at lights; low 58 hi 318; no codes"
    assert marked(text, "piece") == ["cold on the road", "low 58", "hi 318", "no codes"]


def test_an_unread_word_inside_a_symptom_is_seen():
    text = "blorf no crank quorx when hot"
    assert marked(text, "unread") == ["blorf", "quorx"]
    assert " no crank " in marked(text, "piece")


def test_what_is_asked_back_or_refused_is_marked_as_such():
    text = "low side 2.5; vent temp 500; vent 68F"
    assert marked(text, "asked") == ["low side 2.5"]
    assert marked(text, "refused") == ["vent temp 500"]
    assert marked(text, "piece") == ["vent 68F"]


@pytest.mark.parametrize("before", ["ünïcödé ", "日本 ", "😀😀 ", "e\u0301t ", "\u00a0\t"])
def test_marks_stand_right_behind_signs_of_any_length(before):
    text = f"{before}blorfüß vent 68F"
    assert marked(text, "piece")[-1] == "vent 68F"
    assert any("blorfüß" in row for row in marked(text, "unread"))


@given(
    st.lists(
        st.sampled_from(["vent 68F", "low side 2.5", "blorf", "no crank", "ü", "<b>", "\n", "; ", "P0301",
                         "vent temp 500", " ", "new alternator, same", "no codes", "😀"]),
        max_size=12,
    ).map(" ".join) | st.text(max_size=60)
)  # fmt: skip
def test_stretches_are_the_line_character_by_character(text):
    entry = draft_job(text, words=WORDS, today=date(2026, 5, 4))
    rows = stretches(entry.parsed, entry.job)
    assert "".join(row.text for row in rows) == text
    assert all(row.text for row in rows)
    shown = {kind: "".join(row.text for row in rows if row.kind == kind) for kind in ("unread",)}
    assert len(shown["unread"]) <= sum(row.end - row.start for row in entry.parsed.unread)
    for row in entry.parsed.unread:
        assert row.text in shown["unread"]


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("symptom", "no crank"), ("reading", "vent 68F"), ("code", "P0301"), ("scan", "no codes"),
        ("finding", "smoke test no leak"), ("tried", "new alternator, same"),
    ],
)  # fmt: skip
def test_a_piece_taken_out_of_the_job_is_plain_again(kind, words):
    entry = draft_job(words, words=WORDS, today=date(2026, 5, 4))
    assert marked(words, "piece")
    job = CHANGES[kind]["out"](entry.job, 0, "", words=WORDS)
    left = marked(words, "piece", job)
    assert len("".join(left)) < len("".join(marked(words, "piece")))

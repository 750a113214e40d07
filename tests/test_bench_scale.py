"""The benchmark of scale, its invented cases and its peers, on tiny collections."""

import sys
from dataclasses import replace
from statistics import mean
from xml.etree import ElementTree

import pytest

from kb.retrieval.analyzer import told_words
from tests.benchmarks import bench_scale, scale_lance
from tests.benchmarks.bench_scale import Source, built, nearest_texts
from tests.benchmarks.scale_cases import World
from tests.benchmarks.scale_chart import chart
from tests.benchmarks.scale_peers import TEXT_PEERS, TOP, bytes_of
from tests.benchmarks.scale_sql import asked_of, assert_agrees, by_duckdb
from tests.benchmarks.scale_table import Course, Row, Spent, milliseconds

SIZE = 400
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def world():
    return World(words=20_000)


@pytest.fixture(scope="module")
def cases(world):
    return [case for chunk in world.chunks(SIZE) for case in chunk]


@pytest.fixture(scope="module")
def index(cases):
    return built([cases])


def words_of(case):
    return {*told_words(case.said), *told_words(case.told)}


def test_the_first_cases_are_the_same_however_many_follow(world, cases):
    more = list(World(words=20_000).chunks(SIZE + 50, SIZE))
    assert [len(chunk) for chunk in more] == [SIZE, 50]
    assert more[0] == cases
    assert more[1][0].case > cases[-1].case


def test_cases_and_questions_have_the_sizes_of_the_workload(world, cases):
    assert mean(len(words_of(case)) for case in cases) == pytest.approx(49, abs=3)
    codes = [sum(token.part == "code" for token in case.tokens) for case in cases]
    assert mean(codes) == pytest.approx(1.9, abs=0.3)
    assert mean(len(case.measures) for case in cases) == pytest.approx(7.5, abs=0.5)
    asked = world.queries(400)
    assert mean(len(words_of(query)) for query in asked) == pytest.approx(12, abs=1)
    vehicles = [any(token.part == "vehicle" for token in query.tokens) for query in asked]
    assert mean(vehicles) == pytest.approx(0.7, abs=0.07)
    assert not any(query.told or query.cause for query in asked)


@pytest.mark.source("the demonstration's cases", "their 29,000 words are 4,400 different ones")
def test_the_vocabulary_grows_about_as_the_root_of_the_text(world):
    cases = [case for chunk in World(words=60_000).chunks(2_000) for case in chunk]
    texts = [[*told_words(case.said), *told_words(case.told)] for case in cases]
    half = {word for text in texts[:1000] for word in text}
    whole = {word for text in texts for word in text}
    assert 1.3 < len(whole) / len(half) < 1.7
    ends = [len(words) for words in texts]
    until = next(n for n in range(len(ends)) if sum(ends[:n]) > 29_000)
    assert len({word for text in texts[:until] for word in text}) == pytest.approx(4400, rel=0.1)


def test_the_nearest_case_has_mostly_the_same_problem(cases, index):
    asked = [case for case in cases if sum(c.cause == case.cause for c in cases) > 2][:40]
    causes = {case.case: case.cause for case in cases}
    found = [index.search(replace(case, told=""), top=1)[0].case for case in asked]
    same = [causes[there] == case.cause for there, case in zip(found, asked, strict=True)]
    assert mean(same) > 0.7


@pytest.mark.parametrize("name", TEXT_PEERS)
def test_every_peer_finds_a_stored_text_first_and_nothing_without_words(name, cases):
    texts = [case.told for case in cases]
    with TEXT_PEERS[name](texts) as engine:
        found = [engine.ask(texts[row]) for row in (3, 77, SIZE - 1)]
        assert [rows[0] for rows in found] == [3, 77, SIZE - 1]
        assert all(len(rows) == len(set(rows)) == TOP for rows in found)
        assert list(engine.ask("?!")) == []
        assert engine.size > 100 * SIZE


def test_our_nearest_texts_are_found_by_the_same_words(cases, index):
    query = replace(cases[77], told="")
    assert nearest_texts(index, query)[0] == 77


@pytest.mark.source("DuckDB", "the score as SQL over the posting lists")
def test_the_score_in_sql_gives_the_same_cases_and_scores(world, index):
    with by_duckdb(index) as engine:
        for query in world.queries(25):
            assert_agrees(index, query, engine.best(asked_of(index, query)))


def test_a_score_or_a_case_that_differs_is_told(world, index):
    query = world.queries(1)[0]
    with by_duckdb(index) as engine:
        best = engine.best(asked_of(index, query))
    (row, score), *others = best
    with pytest.raises(AssertionError, match="equal scores of one case"):
        assert_agrees(index, query, [(row, score + 0.01), *others])
    left_out = next(row for row in range(SIZE) if row not in {row for row, _ in best})
    words = index.words_of(query)
    low = float(index.asked(query, words, index.text_evidence(words), near=[]).scores[left_out])
    with pytest.raises(AssertionError, match="the same best cases"):
        assert_agrees(index, query, [*others, (left_out, low)])


@pytest.mark.skipif(not scale_lance.INSTALLED, reason="needs LanceDB")
def test_the_hybrid_search_finds_a_stored_case_first(cases, index):
    with scale_lance.by_lancedb(index, [case.told for case in cases]) as engine:
        found = engine.best(scale_lance.asked_of(index, replace(cases[77], said=cases[77].told)))
    assert found[0] == 77
    assert len(set(found)) == TOP


def test_what_would_take_too_long_is_left_out_and_stays_out():
    spent = Spent(most=10)
    assert spent.allows("slow", 1000)
    spent.note("slow", 1000, seconds=2)
    assert spent.allows("slow", 5000)
    assert not spent.allows("slow", 10_000)
    course = Course(cases=10_000, kind="text", beside=1.0, spent=spent)
    row = course.row("slow", lambda: pytest.fail("built"), lambda _: pytest.fail("asked"))
    assert row.line().split() == ["10000", "text", "slow", *"------"]
    assert not spent.allows("slow", 20_000)


def test_the_texts_of_the_cases_are_kept_as_they_go_by(world, cases):
    source = Source(world=world)
    given = [case for chunk in source.chunks(SIZE) for case in chunk]
    assert given == cases
    assert source.texts == [f"{case.said}\n{case.told}" for case in cases]
    assert source.seconds > 0


def test_the_ratio_is_our_time_over_that_of_the_other():
    row = Row(cases=10, kind="text", name="peer", times=(1.0, 2.0, 9.0), beside=0.5)
    assert row.line().split()[-4:] == ["2.000", "8.300", "8.860", "0.250"]


def test_each_question_counts_by_its_best_pass():
    asked: list[int] = []
    before: list[int] = []
    times = milliseconds(asked.append, [1, 2], lambda: before.append(len(asked)))
    assert asked == [1, 2] * 4
    assert before == list(range(8))
    assert len(times) == 2
    assert 0 < times[0] <= times[1]


def test_bytes_are_counted_once_each():
    text = "x" * 1000
    assert bytes_of([text, text]) < 1.2 * bytes_of([text])
    assert bytes_of({"a": text}) > 1000


def test_the_chart_has_a_line_and_a_name_for_each_engine():
    drawn = ElementTree.fromstring(chart({"a & b": [(10, 0.5), (1000, 5)], "c": [(10, 2)]}, "t"))
    words = [text.text for text in drawn.iter(f"{SVG}text")]
    assert {"a & b", "c", "10", "1,000", "0.1", "cases", "ms"} <= set(words)
    assert len(list(drawn.iter(f"{SVG}circle"))) == 3
    with pytest.raises(ValueError, match="at least one measured point"):
        chart({}, "t")


@pytest.mark.slow
def test_one_command_prints_one_table_and_writes_the_chart(tmp_path, monkeypatch):
    monkeypatch.setattr(bench_scale, "World", lambda: World(words=6000))
    file = tmp_path / "scale.svg"
    options = ["--cases", "120", "60", "--queries", "3", "--chart", str(file)]
    monkeypatch.setattr(sys, "argv", ["bench_scale", *options])
    shown: list[str] = []
    bench_scale.main(shown.append)
    rows = [line.split() for line in shown[1:]]
    engines = 4 + len(TEXT_PEERS) + 1 + scale_lance.INSTALLED
    assert [row[0] for row in rows] == ["60"] * engines + ["120"] * engines
    assert all(float(row[-1]) > 0 for row in rows)
    lines = ElementTree.parse(file).getroot().iter(f"{SVG}circle")
    assert len(list(lines)) == 2 * engines

import random

from kb.retrieval.feature_chunks import FeatureChunks, drop_others, keep_chunk, kept_chunks
from kb.retrieval.feature_file import FeatureFile
from kb.retrieval.feature_table import FeatureTable
from tests.benchmarks.bench_find import mixed_cases
from tests.kb.retrieval.test_feature_table import same

CASES = sorted(mixed_cases(12, random.Random(3)), key=lambda case: case.case)
FIRST, LAST = FeatureTable.of(CASES[:5], ["m"] * 5), FeatureTable.of(CASES[5:], ["m"] * 7)


def test_chunks_come_in_order_of_their_cases_and_can_be_read_again(tmp_path):
    for table in (LAST, FIRST):
        assert isinstance(keep_chunk(tmp_path / "f", table, {}), FeatureFile)
    chunks = FeatureChunks(kept_chunks(tmp_path / "f", {}))
    for _ in range(2):
        assert all(same(ours, table) for ours, table in zip(chunks, (FIRST, LAST), strict=True))
    assert len(chunks) == 12
    assert chunks.cases == [case.case for case in CASES]
    assert list(chunks.told()) == [(case.cause, case.said, case.told) for case in CASES]


def test_a_chunk_among_the_cases_of_another_is_left_out(tmp_path):
    for table in (FeatureTable.of(CASES), FIRST, LAST):
        keep_chunk(tmp_path, table, {})
    assert sum(map(len, kept_chunks(tmp_path, {}))) == 12


def test_files_that_hold_none_of_the_chunks_go(tmp_path):
    kept = keep_chunk(tmp_path, FIRST, {})
    keep_chunk(tmp_path, LAST, {})
    (tmp_path / "notes.txt").write_text("not ours")
    drop_others(tmp_path, [kept])
    assert sorted(path.suffix for path in tmp_path.iterdir()) == [".features", ".txt"]


def test_where_nothing_can_be_written_a_chunk_stays_in_memory(tmp_path):
    (tmp_path / "f").write_text("no folder")
    assert keep_chunk(tmp_path / "f", FIRST, {}) is FIRST

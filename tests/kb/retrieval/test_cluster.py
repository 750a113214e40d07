"""Shards in worker processes: the answers of one index, also after a worker was killed."""

import os
import random
import shutil
import signal
from dataclasses import replace
from time import monotonic

import pytest

from kb.retrieval.cluster import ANSWER_WITHIN_S, ClusterShards, are_written, write_shards
from kb.retrieval.feature_table import FeatureTable
from kb.retrieval.index import CaseIndex
from kb.retrieval.shards import ShardedIndex, shard_of, split
from kb.retrieval.whole import Whole, counted
from tests.benchmarks.bench_find import mixed_cases

distributed = pytest.importorskip("distributed", reason="needs the extra named cluster")
pytestmark = pytest.mark.slow

CASES = mixed_cases(200, random.Random(5))
ASKED = [replace(case, case="Q", told="") for case in mixed_cases(26, random.Random(6))]
ONE = CaseIndex().fit(CASES)
WHOLE = Whole(ONE)
STAMP = {"for": "a test"}
N = 4
# A busy machine wakes a waiting process late.
SLACK_S = 3.0


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    with (
        distributed.LocalCluster(
            n_workers=N,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address="127.0.0.1:0",
            local_directory=str(tmp_path_factory.mktemp("workers")),
        ) as cluster,
        distributed.Client(cluster, direct_to_workers=True) as made,
    ):
        yield made


@pytest.fixture
def folder(tmp_path):
    write_shards(tmp_path, STAMP, split([FeatureTable.of(CASES)], N), whole=WHOLE)
    return tmp_path


def placed(client, folder, within_s: float = ANSWER_WITHIN_S) -> tuple[ClusterShards, ShardedIndex]:
    shards = ClusterShards(
        lambda: client, folder, STAMP, whole=WHOLE, n_shards=N, within_s=within_s
    )
    return shards, ShardedIndex(counted(ONE), shards)


def where(shards: ClusterShards, number: int) -> str:
    found = shards._places[number].placed
    assert found is not None
    return found.address


def test_workers_answer_as_one_index_to_the_last_bit(client, folder):
    _, index = placed(client, folder)
    for query in ASKED:
        found = index.ask(query)
        assert found.missing == 0
        assert found.best(10) == ONE.ask(query).best(10)


def test_shards_are_known_by_what_they_were_written_with(folder):
    assert are_written(folder, STAMP, N)
    assert not are_written(folder, {"for": "another"}, N)
    assert not are_written(folder, STAMP, N - 1)
    shutil.rmtree(folder / "shard-0002")
    assert not are_written(folder, STAMP, N)


def test_a_shard_whose_files_are_gone_is_missing_and_the_others_answer(client, folder):
    shutil.rmtree(folder / "shard-0002")
    _, index = placed(client, folder)
    here = {case.case for case in CASES if shard_of(case.case, N) != 2}
    for query in ASKED[:5]:
        found = index.ask(query)
        assert found.missing == 1
        expected = [match for match in ONE.ask(query).best(80) if match.case in here]
        assert list(found.best(10)) == expected[:10]


def test_after_a_worker_was_killed_another_reads_its_shard_and_answers(client, folder):
    shards, index = placed(client, folder)
    assert index.ask(ASKED[0]).missing == 0
    address = where(shards, 0)
    os.kill(client.run(os.getpid, workers=[address])[address], signal.SIGKILL)
    for query in ASKED[1:]:
        start = monotonic()
        found = index.ask(query)
        assert monotonic() - start < ANSWER_WITHIN_S + SLACK_S
        assert found.missing == 0
        assert found.best(10) == ONE.ask(query).best(10)
    assert where(shards, 0) != address


def test_a_worker_that_falls_silent_is_not_waited_for_longer_than_was_said(client, folder):
    within_s = 6.0
    shards, index = placed(client, folder, within_s)
    assert index.ask(ASKED[0]).missing == 0
    address = where(shards, 1)
    silent = client.run(os.getpid, workers=[address])[address]
    os.kill(silent, signal.SIGSTOP)
    try:
        start = monotonic()
        first = index.ask(ASKED[1])
        assert within_s / 2 <= monotonic() - start < within_s + SLACK_S
        assert first.missing in {0, 1}
        again = index.ask(ASKED[2])
        assert monotonic() - start < 2 * (within_s + SLACK_S)
        assert again.missing == 0
        assert again.best(10) == ONE.ask(ASKED[2]).best(10)
        assert where(shards, 1) != address
    finally:
        os.kill(silent, signal.SIGCONT)

import random

import pytest

from kb.retrieval.feature_file import FeatureFile, write_features
from kb.retrieval.feature_table import FeatureTable
from kb.retrieval.features import CaseFeatures
from kb.retrieval.measures import Measure
from tests.benchmarks.bench_find import mixed_cases
from tests.kb.retrieval.test_feature_table import same


def read_features(path, stamp):
    """Return the features of a file, None where there are none."""
    file = FeatureFile.opened(path, stamp)
    return None if file is None else file.table()


STAMP = {"terms": "t", "altitude_m": 0.0}
TABLE = FeatureTable.of(mixed_cases(12, random.Random(3)), [f"{at}" for at in range(12)])


@pytest.fixture
def path(tmp_path):
    made = tmp_path / "features.npz"
    write_features(made, TABLE, STAMP)
    return made


def test_features_come_back_to_the_last_bit(path):
    assert same(read_features(path, STAMP), TABLE)


def test_a_reading_that_needs_all_its_digits_keeps_them(tmp_path):
    read = Measure(key="hi_psi", value=0.1 + 0.2, what="high side")
    table = FeatureTable.of([CaseFeatures(case="C1", measures=(read,))])
    write_features(tmp_path / "f.npz", table, STAMP)
    found = read_features(tmp_path / "f.npz", STAMP)
    assert found is not None
    assert found.measures.values.tolist() == [0.1 + 0.2]


def test_none_at_all_can_be_kept(tmp_path):
    write_features(tmp_path / "f.npz", FeatureTable.of(()), STAMP)
    found = read_features(tmp_path / "f.npz", STAMP)
    assert found is not None
    assert len(found) == 0


@pytest.mark.parametrize("stamp", [{}, {"terms": "x", "altitude_m": 0.0}])
def test_features_that_were_made_with_other_words_are_not_used(path, stamp):
    assert read_features(path, stamp) is None


def test_a_flipped_file_is_not_used(path):
    good, drawn = path.read_bytes(), random.Random(1)
    for _ in range(40):
        broken = bytearray(good)
        broken[drawn.randrange(len(good))] ^= 1 << drawn.randrange(8)
        path.write_bytes(bytes(broken))
        assert read_features(path, STAMP) is None
    assert read_features(path.with_name("none.npz"), STAMP) is None

import numpy as np
import pytest

from kb.retrieval.columns import Named, Names, Texts
from kb.retrieval.kept_scales import GroupOffsets, KeptScales, scale_arrays
from kb.retrieval.moments import CENTRING_CASES, fit_scale
from kb.retrieval.postings import Postings

GROUPS = Named.of(["tarnholt", None, "", "pellarin"] * 100)
SIZES = {"low": 400, "rare": 3}
RNG = np.random.default_rng(5)
MEASURES = Postings(
    Names(Texts.of(list(SIZES))), np.array([0, 400, 403]), np.array([*range(400), 0, 1, 2])
)


@pytest.mark.parametrize("n_cases", [CENTRING_CASES, CENTRING_CASES - 1])
def test_a_scale_comes_back_to_the_last_bit(n_cases):
    scales = {
        key: fit_scale(
            RNG.normal(size=size),
            np.arange(size) % 3 - 1,
            groups=Named(GROUPS.names, GROUPS.codes[:size]),
            n_cases=n_cases,
        )
        for key, size in SIZES.items()
    }
    names = Texts.of(GROUPS.names)
    kept = KeptScales(scale_arrays(scales, names), MEASURES, names)
    for key, scale in scales.items():
        found = kept.of(key)
        assert found is not None
        for part in ("population", "centred", "scores"):
            mine, theirs = getattr(found, part), getattr(scale, part)
            assert mine.dtype == theirs.dtype
            assert np.array_equal(mine, theirs)
        assert dict(found.offsets) == scale.offsets
        assert found.correlation == scale.correlation
        for group in ("tarnholt", "", "never seen"):
            assert found.score(0.3, group) == scale.score(0.3, group)
    assert kept.of("never read") is None


def test_a_group_without_a_value_has_no_offset():
    groups = GroupOffsets(Names(Texts.of(["a", "b", "c"])), np.array([0.5, np.nan, 0.0]))
    assert dict(groups) == {"a": 0.5, "c": 0.0}
    assert (groups.get("b"), groups.get("d"), len(groups)) == (None, None, 2)
    assert not GroupOffsets(Names(Texts.of(["a"])), np.array([np.nan]))

import numpy as np
import pytest

from kb.retrieval import kept_scales
from kb.retrieval.columns import Named, Names, Texts
from kb.retrieval.kept_scales import GroupOffsets, KeptScales, OrderedScores, scale_arrays
from kb.retrieval.kept_values import KeptValues, value_arrays
from kb.retrieval.moments import CENTRING_CASES, fit_scale
from kb.retrieval.postings import Postings

GROUPS = Named.of(["tarnholt", None, "", "pellarin"] * 100)
SIZES = {"low": 400, "rare": 3}
RNG = np.random.default_rng(5)
MEASURES = Postings(
    Names(Texts.of(list(SIZES))), np.array([0, 400, 403]), np.array([*range(400), 0, 1, 2])
)
# As a meter shows them, and as they come out of a formula.
READ = {"rounded": RNG.normal(size=403).round(1), "reckoned": RNG.normal(size=403)}


def both(values, n_cases):
    """Return scales by quantity, and what was kept of them."""
    scales = {
        key: fit_scale(
            values[MEASURES.span(key)],
            np.arange(size) % 3 - 1,
            groups=Named(GROUPS.names, GROUPS.codes[:size]),
            n_cases=n_cases,
        )
        for key, size in SIZES.items()
    }
    held = KeptValues(value_arrays(MEASURES, values), MEASURES)
    arrays = scale_arrays(scales, GROUPS, measures=MEASURES, values=held)
    return scales, KeptScales(arrays, MEASURES, groups=GROUPS, values=held)


@pytest.mark.parametrize("many", [100, 20_000])
@pytest.mark.parametrize("n_cases", [CENTRING_CASES, CENTRING_CASES - 1])
@pytest.mark.parametrize("read", READ)
def test_a_scale_comes_back_to_the_last_bit(monkeypatch, many, n_cases, read):
    monkeypatch.setattr(kept_scales, "_MANY", many)
    scales, kept = both(READ[read], n_cases)
    for key, scale in scales.items():
        found = kept.of(key)
        assert found is not None
        for part in ("population", "centred", "scores"):
            mine, theirs = np.asarray(getattr(found, part)), getattr(scale, part)
            assert mine.dtype == theirs.dtype
            assert np.array_equal(mine, theirs)
        assert dict(found.offsets) == scale.offsets
        assert found.correlation == scale.correlation
        for group in ("tarnholt", "pellarin", "", "never seen"):
            asked = np.array([-9.0, 0.3, 9.0, *READ[read][:99]])
            wanted = [scale.score(value, group) for value in asked.tolist()]
            assert [found.score(value, group) for value in asked.tolist()] == wanted
            for some in (asked, asked[:5]):
                assert found.score_all(some, [group] * len(some)).tolist() == wanted[: len(some)]
    assert kept.of("never read") is None


def test_of_many_values_most_centred_scores_are_not_held(monkeypatch):
    monkeypatch.setattr(kept_scales, "_MANY", 100)
    _, kept = both(READ["reckoned"], CENTRING_CASES)
    low, rare = kept.of("low"), kept.of("rare")
    assert low is not None
    assert rare is not None
    assert isinstance(low.centred, OrderedScores)
    assert isinstance(rare.centred, np.ndarray)


def test_a_group_without_a_value_has_no_offset():
    groups = GroupOffsets(Names(Texts.of(["a", "b", "c"])), np.array([0.5, np.nan, 0.0]))
    assert dict(groups) == {"a": 0.5, "c": 0.0}
    assert (groups.get("b"), groups.get("d"), len(groups)) == (None, None, 2)
    assert not GroupOffsets(Names(Texts.of(["a"])), np.array([np.nan]))

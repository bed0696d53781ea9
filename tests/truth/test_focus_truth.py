"""A missed focus in a whole merge; 54 pairs and more are in tests/bench/focus_study.py."""

import pytest

from blendkit.hints import Hints
from blendkit.merge import merge_pair
from blendkit.simulate import SCENES, PairSpec, make_pair

SIZE = (600, 400)


@pytest.mark.parametrize(("disc_px", "severities"), [(0.5, []), (4.5, ["fail"])])
def test_a_merge_says_when_the_sitter_is_out_of_focus(
    disc_px: float, severities: list[str]
) -> None:
    spec = PairSpec(
        foreground_disc_px=(50.0, 2.0),
        background_disc_px=(25.0, 5.0),
        sitter_disc_px=(disc_px, 0.2 * disc_px),
        seed=31,
        samples=100,
    )
    pair = make_pair(SCENES["twigs_from_below_over_hills"](31, SIZE), spec)
    hints = Hints(matte=pair.truth.matte, aligned=True)
    merged = merge_pair(pair.background, pair.foreground, hints=hints)
    found = [flag for flag in merged.flags if flag.kind == "missed-focus"]
    assert [flag.severity for flag in found] == severities
    for flag in found:
        inside = flag.region & (pair.truth.sitter > 0.5)
        assert inside.sum() > 0.9 * flag.region.sum()
        assert inside.sum() > 0.3 * (pair.truth.sitter > 0.5).sum()

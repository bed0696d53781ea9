"""Overlays: what they mark, what they leave alone, and that nobody needs to see colour."""

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.color import deltaE_ciede2000, rgb2lab

from blendkit.frame import Source
from blendkit.report.captions import captioned, legend, side_by_side, stacked
from blendkit.report.looks import FLAG_LOOKS, SOURCE_LOOKS, ZONE_LOOKS, Look, hatch_lines
from blendkit.report.overlays import (
    blur_picture,
    clipped_picture,
    fitted,
    flags_picture,
    mark,
    sources_picture,
    zones_picture,
)

if TYPE_CHECKING:
    from blendkit.midground import Severity

GREY = np.full((200, 300, 3), 120, np.uint8)
GROUPS = (
    list(FLAG_LOOKS.values()),
    list(SOURCE_LOOKS.values()),
    list(ZONE_LOOKS),
)

# Machado, Oliveira & Fernandes (2009), IEEE TVCG 15(6), doi:10.1109/TVCG.2009.113, severity 1.0;
# for linear light; the numbers are from memory.
DICHROMATS = {
    "protanopia": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deuteranopia": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
}


def seen_by(color: tuple[int, int, int], matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    encoded = np.array(color) / 255
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    seen = np.clip(matrix @ linear, 0, 1)
    return np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)


@pytest.mark.parametrize("looks", GROUPS, ids=["flags", "sources", "zones"])
def test_hatches_alone_tell_everything_apart(looks: list[Look]) -> None:
    drawn = [hatch_lines(look.hatch, (120, 120), 10) for look in looks]
    for one, other in combinations(drawn, 2):
        assert np.mean(one != other) > 0.05


@pytest.mark.parametrize("matrix", DICHROMATS.values(), ids=DICHROMATS.keys())
def test_colours_of_flags_stay_apart_for_dichromats(matrix: NDArray[np.float64]) -> None:
    seen = [rgb2lab(seen_by(look.color, matrix)) for look in FLAG_LOOKS.values()]
    for one, other in combinations(seen, 2):
        # common practice, no source: colours of marks should differ by ten just-visible steps
        assert deltaE_ciede2000(one, other) > 10


@pytest.mark.parametrize("light", [30, 120, 180, 230])
def test_a_mark_stays_inside_and_its_hatch_shows_without_colour(light: int) -> None:
    """On any grey, also one that is as light as the mark's colour."""
    picture = np.full((200, 300, 3), light, np.uint8)
    region = np.zeros((200, 300), np.bool_)
    region[50:150, 60:200] = True
    for look in {look.hatch: look for group in GROUPS for look in group}.values():
        marked = mark(picture, region, look)
        assert np.array_equal(marked[~region], picture[~region])
        inside = marked[60:140, 70:190].astype(float) @ [0.2126, 0.7152, 0.0722]
        assert np.ptp(inside) > 0.1 * light


def test_opacity_nought_shows_nothing() -> None:
    everywhere = np.ones((200, 300), np.bool_)
    assert np.array_equal(mark(GREY, everywhere, FLAG_LOOKS["fail"], opacity=0.0), GREY)


def test_reducing_keeps_the_smallest_region() -> None:
    region = np.zeros((3000, 4000), np.bool_)
    region[1234, 2345] = True
    small = fitted(region, (400, 300))
    assert small.sum() == 1
    assert small[123, 234]


def test_flags_carry_their_numbers() -> None:
    labels = np.zeros((200, 300), np.uint8)
    labels[20:90, 20:120], labels[120:180, 200:280] = 1, 2
    severities: dict[int, Severity] = {1: "fail", 2: "note"}
    drawn = flags_picture(GREY, labels, severities)
    assert np.array_equal(drawn[labels == 0], GREY[labels == 0])
    for number in (1, 2):
        # a number stands on white paper, which no mark is made of
        assert (drawn[labels == number] == 255).all(axis=1).any()


def test_flags_that_are_nowhere_draw_nothing() -> None:
    drawn = flags_picture(GREY, np.zeros((200, 300), np.uint8), {1: "fail"})
    assert np.array_equal(drawn, GREY)


def test_sources_leave_the_background_frame_unmarked() -> None:
    sources = np.full((200, 300), Source.BACKGROUND_FRAME, np.uint8)
    assert np.array_equal(sources_picture(GREY, sources), GREY)
    for source in SOURCE_LOOKS:
        sources[:100] = source
        drawn = sources_picture(GREY, sources)
        assert np.array_equal(drawn[100:], GREY[100:])
        assert (drawn[:100] != GREY[:100]).any()


def test_the_blur_map_leans_by_sign_and_gets_denser_with_blur() -> None:
    def changed(disc_px: float) -> NDArray[np.int64]:
        drawn = blur_picture(GREY, np.full((50, 75), disc_px, np.float32))
        return np.abs(drawn.astype(int) - GREY).sum(axis=2)

    strong, weak = (changed(disc) > changed(disc).mean() for disc in (40.0, 1.5))
    assert strong.mean() > 0.15 > weak.mean() > 0.01
    # lines that rise to the right turn into falling ones when mirrored
    softer, sharper = changed(20.0), changed(-20.0)
    assert np.mean((softer > softer.mean()) != (sharper > sharper.mean())) > 0.1
    assert changed(0.3).max() == 0


def test_the_blur_map_is_silent_where_nothing_is_known() -> None:
    disc, confidence = np.full((50, 75), 20, np.float32), np.zeros((50, 75), np.float32)
    assert np.array_equal(blur_picture(GREY, disc, confidence), GREY)


def test_zones_and_clipping_are_marked() -> None:
    zones = np.zeros((200, 300), np.int32)
    zones[:, 150:] = 7
    drawn = zones_picture(GREY, zones)
    assert np.array_equal(drawn[:, :150], GREY[:, :150])
    assert (drawn[:, 150:] != GREY[:, 150:]).any()
    here, none = zones > 0, np.zeros((200, 300), np.bool_)
    first, second = clipped_picture(GREY, here, none), clipped_picture(GREY, none, here)
    assert (first != second).any()
    assert np.array_equal(clipped_picture(GREY, none, none), GREY)


def test_captions_and_legends_keep_pictures_whole() -> None:
    row = side_by_side([GREY, GREY], gap_px=10)
    assert row.shape == (200, 610, 3)
    assert captioned(GREY, "result").shape[1:] == (300, 3)
    assert np.array_equal(captioned(GREY, "result")[-200:], GREY)
    assert stacked([GREY, GREY[:, :100]], gap_px=5).shape == (405, 300, 3)
    entries = [(severity, look) for severity, look in FLAG_LOOKS.items()]
    narrow, wide = legend(entries, 120), legend(entries, 900)
    assert narrow.shape[0] > wide.shape[0]

"""An aperture rendered by the merge against the same scene taken at that f-number."""

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from blendkit.blending import BoughGroup
from blendkit.blending.aperture import foreground_at
from blendkit.errors import InputError
from blendkit.filters.disc import disc_blur
from blendkit.hints import Hints
from blendkit.merge import Merged, merge_pair
from blendkit.settings import ApertureSettings, DiscSettings, MergeSettings
from blendkit.simulate import SCENES, PairSpec, SimulatedPair, make_pair
from blendkit.simulate.metrics import psnr

SIZE = (480, 320)
WIDE, NARROW, BETWEEN = 2.8, 16.0, 4.5


@cache
def pair(f_number: float) -> SimulatedPair:
    """Both focused on the sitter; the background frame at an f-number of choice."""
    spec = PairSpec(
        f_number=(f_number, NARROW),
        foreground_disc_px=(32 * WIDE / f_number, 32 * WIDE / NARROW),
        background_disc_px=(19 * WIDE / f_number, 19 * WIDE / NARROW),
        iso=(100.0, 200.0),
        seed=3,
    )
    return make_pair(SCENES["thin_boughs_over_woods"](3, SIZE), spec)


@cache
def merged(aperture: ApertureSettings) -> Merged:
    found = pair(WIDE)
    return merge_pair(
        found.background,
        found.foreground,
        hints=Hints(matte=found.truth.matte),
        settings=MergeSettings(aperture=aperture),
    )


def test_background_between_the_apertures_is_as_the_camera_would_have_it() -> None:
    truth = pair(BETWEEN).truth
    rendered = merged(ApertureSettings(background_f=BETWEEN))
    away = cv2.dilate(truth.matte, np.ones((9, 9))) < 0.01
    away &= rendered.covered & (rendered.sitter <= 0)
    as_taken = psnr(pair(WIDE).truth.composite, truth.composite, region=away)
    found = psnr(rendered.pixels, truth.composite, region=away)
    assert max(36, as_taken + 3) < found < 60


@pytest.mark.parametrize(("disc_px", "left"), [(32.0, 0.12), (None, 0.5)])
def test_foreground_between_the_apertures_is_as_soft_as_the_camera_would_have_it(
    disc_px: float | None, left: float
) -> None:
    """With the disc known, and with the disc that the search finds.

    In these few twigs it finds 51 px for 32, which leaves 0.36 of the difference; known, 0.08.
    """
    truth, found = pair(BETWEEN).truth, pair(WIDE)
    rendered = merge_pair(
        found.background,
        found.foreground,
        hints=Hints(matte=found.truth.matte),
        settings=MergeSettings(
            aperture=ApertureSettings(foreground_f=BETWEEN), discs=DiscSettings(disc_px=disc_px)
        ),
    )
    wanted = truth.veil_coverage
    error = float(np.abs(rendered.matte.alpha - wanted).mean())
    assert error < left * float(np.abs(truth.matte - wanted).mean())


def test_at_the_background_frames_own_f_number_nothing_changes() -> None:
    """What rounding leaves of two discs marked a fifth of the picture as re-rendered."""
    plain, asked = merged(ApertureSettings()), merged(ApertureSettings(background_f=WIDE))
    assert np.array_equal(plain.plate.touched, asked.plate.touched)
    assert np.array_equal(plain.pixels, asked.pixels)


@pytest.mark.parametrize(
    ("value", "message"),
    [(2.0, "choose one in between"), (22.0, "choose one in between")],
)
def test_an_f_number_outside_is_refused(value: float, message: str) -> None:
    with pytest.raises(InputError, match=message):
        merged(ApertureSettings(background_f=value))


def test_frames_that_record_no_f_number_are_refused() -> None:
    found = pair(WIDE)
    silent = replace(found.background, capture=replace(found.background.capture, f_number=None))
    with pytest.raises(InputError, match="do not record"):
        merge_pair(
            silent,
            found.foreground,
            settings=MergeSettings(aperture=ApertureSettings(foreground_f=BETWEEN)),
        )


def test_foreground_at_the_foreground_frames_own_f_number_stays_as_that_frame_has_it() -> None:
    as_is = merged(ApertureSettings())
    at_the_end = merged(ApertureSettings(foreground_f=NARROW))
    assert np.array_equal(at_the_end.pixels, as_is.pixels)


@pytest.mark.parametrize("own_px", [0.0, 26.0])
def test_between_the_ends_the_foregrounds_disc_grows_with_the_aperture(own_px: float) -> None:
    """Focused on the boughs, the foreground frame has no disc there: it grows from none.

    The disc of a lens goes with its width, so with 1/N (thin lens).  What the search finds is the
    disc on top of the frame's own, whose variance is the difference of both.
    """
    edge = np.zeros((120, 240), np.float32)
    edge[:, 120:] = 1
    color = np.full((*edge.shape, 3), 0.2, np.float32)
    added_px = float(np.sqrt(56.0**2 - own_px**2))
    group = BoughGroup(np.ones(edge.shape, np.float32), added_px, (0.0, 0.0))
    half_way = 1 / (0.5 / WIDE + 0.5 / NARROW)
    soft, _ = foreground_at(edge, color, (group,), own_px, f_numbers=(WIDE, NARROW, half_way))
    wanted_px = (56.0 + own_px) / 2
    ramp = disc_blur(edge, float(np.sqrt(wanted_px**2 - own_px**2)))
    assert float(np.abs(soft - ramp)[:, 40:-40].max()) < 0.02

"""Colour softer than brightness: known Gaussians, and JPEG as Pillow writes it."""

from functools import cache
from io import BytesIO

import numpy as np
import pytest
from PIL import Image
from skimage.data import rocket

from blendkit.filters.bands import gaussian
from blendkit.frame import Float, luminance
from blendkit.sharpness.color_blur import measure_color_blur
from blendkit.simulate import SCENES, PairSpec, make_pair


@cache
def frame(scene: str = "twigs_against_sky", iso: float = 400.0, *, mosaic: bool = False) -> Float:
    spec = PairSpec(
        foreground_disc_px=(28.0, 1.2),
        background_disc_px=(11.0, 2.0),
        iso=(100.0, iso),
        mosaic=mosaic,
        seed=5,
    )
    return make_pair(SCENES[scene](5, (420, 280)), spec).foreground.pixels


def smoothed(pixels: Float, sigma_px: float) -> Float:
    light = luminance(pixels)[..., None]
    return np.asarray(np.maximum(light + gaussian(pixels - light, sigma_px), 0), np.float32)


def as_jpeg(pixels: Float, subsampling: int) -> Float:
    """Return a picture written and read by Pillow; subsampling 0: 4:4:4, 2: 4:2:0."""
    codes = np.uint8(255 * np.clip(pixels, 0, 1) ** (1 / 2.2) + 0.5)
    stream = BytesIO()
    Image.fromarray(codes).save(stream, "JPEG", quality=95, subsampling=subsampling)
    read = np.asarray(Image.open(stream), np.float32) / 255
    return np.asarray(read**2.2, np.float32)


@pytest.mark.parametrize("scene", ["twigs_against_sky", "leaves", "thin_boughs_over_woods"])
def test_a_frame_whose_colour_is_as_sharp_reads_as_none(scene: str) -> None:
    assert measure_color_blur(frame(scene)) == 0


@pytest.mark.parametrize("iso", [400.0, 3200.0])
def test_noise_is_no_softness(iso: float) -> None:
    assert measure_color_blur(frame(iso=iso)) == 0
    assert measure_color_blur(frame(iso=iso, mosaic=True)) == 0


@pytest.mark.parametrize("scene", ["twigs_against_sky", "leaves"])
@pytest.mark.parametrize("sigma_px", [1.0, 1.6])
def test_smoothed_colour_is_measured(scene: str, sigma_px: float) -> None:
    assert 0.75 * sigma_px < measure_color_blur(smoothed(frame(scene), sigma_px)) < 1.4 * sigma_px


@pytest.mark.parametrize("scene", ["twigs_against_sky", "leaves", "a photograph"])
def test_jpeg_with_colour_at_half_the_size_is_told_from_jpeg_without(scene: str) -> None:
    """JFIF 1.02 centres halved colour between two by two pixels; common practice of cameras."""
    photograph = np.asarray((rocket() / np.float32(255)) ** 2.2, np.float32)
    pixels = photograph if scene == "a photograph" else frame(scene, iso=100.0)
    assert 0.4 < measure_color_blur(as_jpeg(pixels, 2)) < 1.3
    assert measure_color_blur(as_jpeg(pixels, 0)) == 0


def test_a_grey_picture_and_a_plain_one_tell_nothing() -> None:
    grey = np.repeat(luminance(frame())[..., None], 3, axis=2)
    assert measure_color_blur(grey) == 0
    assert measure_color_blur(np.full((200, 300, 3), 0.3, np.float32)) == 0
    assert measure_color_blur(np.zeros((20, 30, 3), np.float32)) == 0

"""Screen pictures: sizes, and colours that another colour engine agrees with."""

import io

import numpy as np
import pytest
from PIL import Image, ImageCms

from blendkit.files import encode, profiles
from blendkit.frame import Embedded, Frame
from blendkit.report.screen import on_screen, reduced, screen_size


@pytest.mark.parametrize(
    ("size", "expected"),
    [((6000, 4000), (1600, 1067)), ((4000, 6000), (1067, 1600)), ((37, 21), (37, 21))],
)
def test_sizes(size: tuple[int, int], expected: tuple[int, int]) -> None:
    assert screen_size(size) == expected


def test_reducing_keeps_the_light() -> None:
    rng = np.random.default_rng(4)
    pixels = rng.random((400, 640, 3), np.float32)
    assert reduced(pixels, 320).mean() == pytest.approx(pixels.mean(), rel=1e-4)


def test_another_profile_comes_out_as_pillow_converts_it() -> None:
    """Pillow binds LittleCMS by itself: encode in the wide profile, convert there, compare."""
    rng = np.random.default_rng(5)
    # low saturation stays inside both gamuts
    pixels = (0.35 + 0.12 * rng.random((32, 32, 3))).astype(np.float32)
    wide = profiles.wide()
    frame = Frame(pixels, embedded=Embedded(icc_profile=wide))
    codes = Image.fromarray(encode.encoded(pixels, wide, 8))
    source = ImageCms.ImageCmsProfile(io.BytesIO(wide))
    converted = ImageCms.profileToProfile(
        codes, source, ImageCms.createProfile("sRGB"), renderingIntent=ImageCms.Intent(1)
    )
    difference = np.abs(on_screen(pixels, frame).astype(int) - np.asarray(converted, np.uint8))
    # 8-bit rounding before the conversion and after it
    assert difference.max() <= 3

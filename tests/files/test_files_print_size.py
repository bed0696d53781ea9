"""Sizes and crops of prints."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blendkit.errors import InputError
from blendkit.files.delivery_spec import parse_delivery
from blendkit.files.print_size import effective_dpi, place
from blendkit.settings import DeliverySettings

PRINT = {"print_width_cm": 30, "print_height_cm": 20, "dpi": 254}  # 3000 x 2000 px


def test_a_print_size_takes_the_pictures_orientation() -> None:
    settings = DeliverySettings(**PRINT)
    assert place((6000, 4000), settings).sheet == (3000, 2000)
    assert place((4000, 6000), settings).sheet == (2000, 3000)


def test_a_border_keeps_the_whole_picture() -> None:
    placement = place((5000, 4000), DeliverySettings(**PRINT))
    assert placement.crop == (0, 0, 5000, 4000)
    assert placement.size == (2500, 2000)
    assert placement.sheet == (3000, 2000)


def test_a_crop_fills_the_print_and_keeps_the_sitter() -> None:
    settings = DeliverySettings(**PRINT, fit="crop")
    assert place((4000, 4000), settings).crop == (0, 666, 4000, 2667)
    assert place((4000, 4000), settings, around=(2000, 900)).crop == (0, 0, 4000, 2667)
    assert place((4000, 4000), settings, around=(2000, 2500)).crop == (0, 1167, 4000, 2667)
    assert place((4000, 4000), settings, around=(0, 3990)).crop == (0, 1333, 4000, 2667)


@pytest.mark.parametrize("fit", ["border", "crop"])
def test_a_small_picture_is_not_enlarged_unless_asked(fit: str) -> None:
    settings = DeliverySettings(**PRINT, fit=fit)
    placement = place((1500, 1000), settings)
    assert placement.sheet == (1500, 1000)
    assert effective_dpi(placement, settings) == pytest.approx(127)
    asked = DeliverySettings(**PRINT, fit=fit, enlarge=True)
    assert place((1500, 1000), asked).size == (3000, 2000)


def test_a_long_edge_stands_in_for_a_print_size() -> None:
    assert place((6000, 4000), DeliverySettings(long_edge_px=3000)).size == (3000, 2000)
    assert place((600, 400), DeliverySettings(long_edge_px=3000)).size == (600, 400)
    assert place((600, 400), DeliverySettings(long_edge_px=3000, enlarge=True)).size == (3000, 2000)
    assert place((600, 400), DeliverySettings()).size == (600, 400)


@given(
    size=st.tuples(st.integers(50, 9000), st.integers(50, 9000)),
    sides=st.tuples(st.floats(5, 120), st.floats(5, 120)),
    fit=st.sampled_from(["border", "crop"]),
    enlarge=st.booleans(),
    around=st.tuples(st.floats(-100, 10_000), st.floats(-100, 10_000)),
)
def test_whatever_the_sizes_the_picture_stays_in_its_bounds_and_shape(
    size: tuple[int, int],
    sides: tuple[float, float],
    fit: str,
    enlarge: bool,
    around: tuple[float, float],
) -> None:
    width, height = sides
    settings = DeliverySettings(
        print_width_cm=width, print_height_cm=height, fit=fit, enlarge=enlarge
    )
    placement = place(size, settings, around=around)
    x, y, crop_width, crop_height = placement.crop
    assert x >= 0
    assert y >= 0
    assert x + crop_width <= size[0]
    assert y + crop_height <= size[1]
    assert placement.size[0] <= placement.sheet[0]
    assert placement.size[1] <= placement.sheet[1]
    if not enlarge:
        assert placement.size[0] <= crop_width + 1
        assert placement.size[1] <= crop_height + 1
    stretch = (placement.size[0] / crop_width) / (placement.size[1] / crop_height)
    coarsest = 1.5 / min(placement.size) + 1.5 / min(crop_width, crop_height)
    assert abs(stretch - 1) < coarsest


def test_half_a_print_size_is_refused() -> None:
    with pytest.raises(InputError, match="give both sides"):
        DeliverySettings(print_width_cm=30)
    with pytest.raises(InputError, match="choose 8 or 16"):
        DeliverySettings(bits=12)


def test_a_delivery_in_one_word() -> None:
    assert parse_delivery("full") == DeliverySettings()
    word = "20x30cm, fit=crop, profile=oprgb, long-edge=3000, bpc=no, quality=90, sharpen=0.5"
    assert parse_delivery(word) == DeliverySettings(
        print_width_cm=20,
        print_height_cm=30,
        fit="crop",
        profile="oprgb",
        long_edge_px=3000,
        black_point_compensation=False,
        quality=90,
        sharpen=0.5,
    )


@pytest.mark.parametrize(
    ("word", "message"),
    [
        ("30", "give width x height in cm"),
        ("30x20,colour=red", "there is no setting 'colour'"),
        ("30x20,dpi=many", "dpi = 'many' is not a number"),
        ("30x20,enlarge=perhaps", "is not yes or no"),
        ("30x20,fit=stretch", "choose one of border, crop"),
        ("30x20,quality=101", "allowed is 1 to 100"),
        ("30x20,print_width_cm=5", "there is no setting"),
    ],
)
def test_words_that_are_not_understood(word: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        parse_delivery(word)


def test_what_only_one_frame_reaches_is_cut_off_before_anything_else() -> None:
    inner = (10, 20, 900, 600)
    whole = place((1000, 700), DeliverySettings(), within=inner)
    assert (whole.crop, whole.size) == (inner, (900, 600))
    square = DeliverySettings(print_width_cm=2.54, print_height_cm=2.54, dpi=100, fit="crop")
    cut = place((1000, 700), square, around=(990, 5), within=inner)
    assert cut.crop == (310, 20, 600, 600)

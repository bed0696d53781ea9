"""A scene refuses what no shoot can have, in one line that names the value."""

import pytest

from blendkit.errors import InputError
from blendkit.plan import Scene

GOOD = {"focal_length_mm": 135.0, "wide_f_number": 2.0, "subject_at_m": 4.0}


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"foreground_at_m": 4.0}, "foreground_at_m = 4: must lie in front of the subject"),
        ({"foreground_at_m": 0.1}, "foreground_at_m = 0.1: must lie beyond the focal length"),
        ({"background_at_m": 4.0}, "background_at_m = 4: must lie behind the subject"),
        ({"subject_at_m": 0.0}, "subject_at_m = 0.0"),
        ({"subject_at_m": float("inf")}, "subject_at_m = inf"),
        ({"subject_at_m": float("nan")}, "subject_at_m = nan"),
        ({"focus_wide_m": 0.135}, "focus_wide_m = 0.135"),
        ({"wide_f_number": 0.4}, "wide_f_number = 0.4: allowed is 0.5 to 128"),
        ({"wide_f_number": float("nan")}, "wide_f_number = nan"),
        ({"stopped_f_number": 1.4}, "stopped_f_number = 1.4: must not be below wide_f_number = 2"),
        ({"stopped_f_number": 2.0}, "both frames are f/2 focused at 4.00 m"),
        ({"focal_length_mm": -135.0}, "focal_length_mm = -135"),
        ({"sensor_mm": (36.0, 0.0)}, "sensor_mm = 36x0"),
        ({"sensor_mm": (float("nan"), 24.0)}, "sensor_mm = nanx24"),
        ({"pixels": (0, 4000)}, "pixels = 0x4000"),
        ({"viewing_cm": 50.0}, "viewing_cm = 50: also give the print's size"),
        ({"print_cm": (60.0, 40.0), "coc_mm": 0.03}, "coc_mm = 0.03: give it or the print's size"),
        ({"pupil": 0.0}, "pupil = 0"),
        ({"sway_mm_s": -1.0}, "sway_mm_s = -1"),
    ],
)
def test_bad_values_are_named(change: dict[str, object], named: str) -> None:
    with pytest.raises(InputError) as caught:
        Scene(**(GOOD | change))  # type: ignore[arg-type]
    assert named in str(caught.value)
    assert "\n" not in str(caught.value)


def test_defaults_are_the_subject_infinity_and_the_convention() -> None:
    scene = Scene(**GOOD)
    assert (scene.wide_focus_m, scene.stopped_focus_m) == (4, 4)
    assert scene.background_m == float("inf")
    assert scene.circle_of_confusion_mm == pytest.approx(0.02884, abs=1e-5)
    assert scene.pixel_pitch_mm == pytest.approx(0.006)


def test_a_crop_is_enlarged_more_so_its_own_diagonal_counts() -> None:
    """4:5 of a sensor held upright: 24 x 30 mm, 38.42 mm across the corners."""
    scene = Scene(**GOOD, pixels=(3200, 4000))
    assert scene.circle_of_confusion_mm == pytest.approx(38.4187 / 1500, rel=1e-5)


@pytest.mark.parametrize(("wide", "stopped"), [(2.0, 16), (16.0, 16), (22.0, 22)])
def test_the_stopped_frame_is_never_the_wider_one_unasked(wide: float, stopped: float) -> None:
    scene = Scene(**(GOOD | {"wide_f_number": wide}), focus_stopped_m=2.2)  # type: ignore[arg-type]
    assert scene.stopped_f_number == stopped


def test_a_focus_pair_may_have_one_f_number() -> None:
    scene = Scene(**GOOD, stopped_f_number=2.0, focus_stopped_m=2.2)
    assert scene.stopped_focus_m == 2.2

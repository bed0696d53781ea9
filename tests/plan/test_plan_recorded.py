"""A photograph's exposure carried over to other settings: by hand, in exact steps."""

import pytest

from blendkit.plan.recorded import Exposed, carried_over

SEEN = Exposed(8, 1 / 60, 200)
"""Exactly f/8, 1/64 s; what is planned is as a camera displays it, 1/1000 s for 1/1024 s."""


@pytest.mark.parametrize(
    ("line", "planned", "told"),
    [
        (Exposed(), SEEN, False),
        (Exposed(f_number=2), Exposed(2, 1 / 1000, 200), True),  # 4 steps more light: 64 x 16
        (Exposed(f_number=11), Exposed(11, 1 / 30, 200), True),
        (Exposed(iso=1600), Exposed(8, 1 / 500, 1600), True),  # 3 steps
        (Exposed(exposure_time_s=1 / 500), Exposed(8, 1 / 500, 1600), True),
        (Exposed(f_number=8), SEEN, False),
        (Exposed(2, 1 / 1000), Exposed(2, 1 / 1000, 200), False),  # as bright as recorded
        (Exposed(2, 1 / 500), Exposed(2, 1 / 500), True),  # a step brighter
        (Exposed(2, None, 400), Exposed(2, None, 400), True),
        (Exposed(None, 1 / 500, 400), Exposed(8, 1 / 500, 400), False),
        (Exposed(2, 1 / 500, 400), Exposed(2, 1 / 500, 400), False),
        (Exposed(exposure_time_s=30), Exposed(8, 30), True),  # ISO 0.1 is none
    ],
)
def test_one_setting_keeps_the_light_and_more_of_them_count(
    line: Exposed, planned: Exposed, *, told: bool
) -> None:
    got, sentence = carried_over(SEEN, line)
    for value, right in zip(got, planned, strict=True):
        assert value == (None if right is None else pytest.approx(right, rel=1e-9))
    assert bool(sentence) is told


def test_what_was_done_is_told_in_the_marks_of_a_camera() -> None:
    _, told = carried_over(SEEN, Exposed(f_number=2))
    assert told == (
        "f/8, 1/60 s, ISO 200 as recorded is planned as f/2, 1/1000 s, ISO 200, as bright"
    )
    _, told = carried_over(SEEN, Exposed(2, 1 / 500))
    assert told == (
        "ISO 200 as recorded does not go with f/2, 1/500 s and is left out;"
        " give --iso as well if you know it"
    )


def test_a_time_recorded_without_its_f_number_is_not_taken_for_another() -> None:
    got, told = carried_over(Exposed(None, 1 / 60, 200), Exposed(f_number=2))
    assert got == Exposed(2, None, 200)
    assert "1/60 s as recorded does not go with f/2" in told
    assert carried_over(Exposed(8, None, 200), Exposed(f_number=2)) == (Exposed(2, None, 200), "")


def test_what_was_recorded_is_told_as_it_was_and_what_was_computed_in_marks() -> None:
    """1/90 s, ISO 560 at f/8: at f/4 1/360 s, nearest to 1/320 s, which is 1/323 s."""
    got, told = carried_over(Exposed(8, 1 / 90, 560), Exposed(f_number=4))
    assert got == Exposed(4, pytest.approx(1 / 320), 560)
    assert told == (
        "f/8, 1/90 s, ISO 560 as recorded is planned as f/4, 1/320 s, ISO 560, as bright"
    )
    got, _ = carried_over(Exposed(8, 1 / 60, 200), Exposed(exposure_time_s=1 / 90))
    assert got.iso == 250  # 200 x 90/64 = 281, and 281/250 is less than 320/281


@pytest.mark.parametrize(
    ("iso", "cure"),
    [
        (6400, "ISO 800"),
        (800, "ISO 100"),
        (200, "ISO 100 and an ND filter of 2 stops"),
        (100, "an ND filter of 3 stops"),
        (64, "an ND filter of 3 stops"),
        (None, "an ND filter of 3 stops"),
    ],
)
def test_a_time_that_few_shutters_have_is_told_with_its_cure(iso: float | None, cure: str) -> None:
    """f/16 and 1/512 s are f/1.4 and 1/65536 s, three steps past 1/8192 s."""
    got, told = carried_over(Exposed(16, 1 / 500, iso), Exposed(f_number=1.4))
    assert got.exposure_time_s == pytest.approx(1 / 65536)
    assert told.endswith(f", as bright; most shutters end at 1/8000 s: for that take {cure}")
    _, told = carried_over(Exposed(16, 1 / 500, iso), Exposed(f_number=4))
    assert told.endswith("as bright"), "1/8192 s is 1/8000 s"

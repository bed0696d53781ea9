"""A line "nearer": order in depth by the user's word, from the strokes file to the flag."""

import json
from pathlib import Path

import numpy as np
import pytest

from blendkit.errors import InputError
from blendkit.frame import Capture, Float
from blendkit.hints import Hints, NearerLine
from blendkit.masks.strokes import rasterise, strokes_from
from blendkit.midground import Flag, LensPair, ResultBlur
from blendkit.midground.soft_ground import SOFT_AT_1200_PX, soft_midground
from blendkit.report.inputs import read_strokes, with_strokes
from blendkit.settings import ViewingSettings

FACTOR = 10
SHAPE = (60, 90)
GAP_PX = 14.0
FAR_TO_NEAR = NearerLine(((450.0, 20.0), (450.0, 585.0)), 200.0)


def seen(x: Float, pasted: Float) -> ResultBlur:
    front = x - GAP_PX
    disc = np.where(pasted > 0.5, np.abs(front), np.abs(x))
    lens = LensPair(1.0, GAP_PX, "measured")
    sure = np.ones(SHAPE, np.float32)
    return ResultBlur(disc.astype(np.float32), x, front, sure, FACTOR, lens)


def flags(x: Float, nearer: tuple[NearerLine, ...] = (), pasted: Float | None = None) -> list[Flag]:
    """Return what is flagged on ground with these signed background discs; half is pasted."""
    share = (x > GAP_PX / 2).astype(np.float32) if pasted is None else pasted
    blur = seen(x.astype(np.float32), share)
    alpha = np.repeat(np.repeat(share, FACTOR, axis=0), FACTOR, axis=1)
    captures = Capture(f_number=4.0), Capture(f_number=4.0)
    found = soft_midground(blur, alpha, ViewingSettings(), captures, nearer=nearer)
    return [flag for flag in found if flag.kind == "soft-midground"]


def rows(profile: np.ndarray) -> Float:
    return np.repeat(profile[:, None], SHAPE[1], axis=1).astype(np.float32)


PLANE = rows(np.linspace(-1, 15, SHAPE[0]))
HILL = rows(GAP_PX * np.linspace(0, 1.02, SHAPE[0]) ** 2.2)
"""A hill: no plane holds both its sharp ends."""
MOUND = rows(4.5 - 4.5 * np.cos(np.linspace(0, 3 * np.pi, SHAPE[0])))
"""Ground that comes nearer, recedes and comes nearer again: sharp twice in one exposure."""


def test_a_hill_has_no_order_without_a_line() -> None:
    assert flags(HILL) == []


def test_a_line_gives_a_hill_its_order() -> None:
    (flag,) = flags(HILL, (FAR_TO_NEAR,))
    assert "by your line" in flag.message
    least = SOFT_AT_1200_PX * 900 / 1200
    wanted = (least < HILL) & (least < GAP_PX - HILL)
    inside = np.repeat(np.repeat(wanted, FACTOR, axis=0), FACTOR, axis=1) & flag.region
    assert inside.sum() > 0.95 * flag.region.sum()
    assert inside.sum() > 0.8 * wanted.sum() * FACTOR**2 * FAR_TO_NEAR.width_px / 900


def test_a_line_drawn_the_wrong_way_flags_nothing() -> None:
    backwards = NearerLine(FAR_TO_NEAR.points[::-1], FAR_TO_NEAR.width_px)
    assert flags(HILL, (backwards,)) == []


def test_a_mound_that_comes_nearer_again_is_unknown() -> None:
    none = np.zeros(SHAPE, np.float32)
    assert flags(MOUND, pasted=none) == []
    assert flags(MOUND, (FAR_TO_NEAR,), pasted=none) == []


def test_a_line_against_a_plane_makes_it_unknown() -> None:
    assert len(flags(PLANE)) == 1
    assert len(flags(PLANE, (FAR_TO_NEAR,))) == 1
    backwards = NearerLine(FAR_TO_NEAR.points[::-1], FAR_TO_NEAR.width_px)
    assert flags(PLANE, (backwards,)) == []


def test_one_soft_stretch_is_flagged_once() -> None:
    again = NearerLine(((300.0, 30.0), (310.0, 580.0)), 100.0)
    assert len(flags(PLANE, (FAR_TO_NEAR, again))) == 1


def document(role: str, points: list[list[float]]) -> dict[str, object]:
    stroke = {"points": points, "diameter_px": 40.0, "role": role}
    return {"schema": "blendkit.strokes/1", "size": [900, 600], "strokes": [stroke]}


def test_a_strokes_file_reaches_the_hints_and_paints_nothing(tmp_path: Path) -> None:
    file = tmp_path / "line.json"
    file.write_text(json.dumps(document("nearer", [[450, 20], [450, 585]])))
    strokes = read_strokes(file, (900, 600))
    hints = with_strokes(Hints(), strokes, (900, 600))
    assert hints.nearer == (NearerLine(((450.0, 20.0), (450.0, 585.0)), 40.0),)
    assert hints.front_strokes is None
    assert not hints.painted((900, 600)).any()
    assert rasterise(strokes, (900, 600)).background is None


def test_a_line_of_one_point_says_what_it_wants() -> None:
    with pytest.raises(InputError, match="nearer needs 2 points, from far to near"):
        strokes_from(document("nearer", [[450, 20]]))

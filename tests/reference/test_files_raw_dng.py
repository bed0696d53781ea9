"""RAW against known light: a DNG built from a known mosaic by its published tags.

Adobe DNG Specification 1.4.0.0 (tags CFARepeatPatternDim to AsShotNeutral) and TIFF/EP
(ISO 12234-2, photometric interpretation 32803).  The colour matrix is that of sRGB
(IEC 61966-2-1, XYZ of D65 to linear RGB), so the camera sees linear sRGB; what comes out must be
the same light in BT.2020's primaries (matrix of ITU-R BT.2087-0, table 2).
"""

import sys
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from numpy.typing import NDArray

from blendkit.cli.main import main
from blendkit.errors import InputError
from blendkit.files import as_the_pair, prefer_raws, profiles, read_frame, write_grey, write_picture
from blendkit.files.capture import read_capture
from blendkit.files.layers import PAGES
from blendkit.frame import Capture, Frame
from blendkit.simulate import SCENES, PairSpec, make_pair

pytest.importorskip("rawpy")

XYZ_TO_SRGB = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)
SRGB_TO_2020 = np.array(
    [[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]]
)
BLACK, WHITE, PATCH = 512, 16383, 60


def _fractions(values: NDArray[np.float64]) -> list[int]:
    return [part for value in values.ravel() for part in (round(value * 10000), 10000)]


def write_dng(
    path: Path,
    light: NDArray[np.float64],
    *,
    neutral: tuple[float, float, float] = (1.0, 1.0, 1.0),
    orientation: int = 1,
) -> None:
    """Write light (height, width, 3), 1 = full, as an RGGB mosaic."""
    seen = light * np.array(neutral)
    codes = np.rint(np.clip(seen, 0, 1) * (WHITE - BLACK) + BLACK).astype(np.uint16)
    mosaic = codes[..., 1].copy()
    mosaic[0::2, 0::2], mosaic[1::2, 1::2] = codes[0::2, 0::2, 0], codes[1::2, 1::2, 2]
    matrix = np.diag(neutral) @ XYZ_TO_SRGB
    tags = [
        (271, "s", 0, "Vale", True),
        (272, "s", 0, "Vale One", True),
        (274, "H", 1, orientation, True),
        (306, "s", 0, "2025:10:03 18:41:07", True),
        (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, bytes([0, 1, 1, 2]), True),
        (33434, "2I", 1, (1, 15), True),
        (33437, "2I", 1, (28, 10), True),
        (50706, "B", 4, bytes([1, 4, 0, 0]), True),
        (50708, "s", 0, "Vale One", True),
        (50714, "H", 1, BLACK, True),
        (50717, "H", 1, WHITE, True),
        (50721, "2i", 9, _fractions(matrix), True),
        (50728, "2I", 3, _fractions(np.array(neutral)), True),
        (50778, "H", 1, 21, True),
    ]
    tifffile.imwrite(
        path,
        mosaic,
        photometric=32803,
        extratags=tags,
        software=False,
        metadata=None,
        subfiletype=0,
    )


def patches(seed: int, top: float = 0.9) -> NDArray[np.float64]:
    """Return 4 x 5 patches of known light; the frame is PATCH times larger."""
    colours = np.random.default_rng(seed).uniform(0.05, top, (4, 5, 3))
    return np.kron(colours, np.ones((PATCH, PATCH, 1)))


def centres(pixels: NDArray[np.float32]) -> NDArray[np.float32]:
    return pixels[PATCH // 2 :: PATCH, PATCH // 2 :: PATCH]


@pytest.mark.parametrize("neutral", [(1.0, 1.0, 1.0), (0.5, 1.0, 0.7)])
def test_a_raw_gives_the_known_light_within_half_a_percent(
    tmp_path: Path, neutral: tuple[float, float, float]
) -> None:
    light = patches(1)
    write_dng(tmp_path / "a.dng", light, neutral=neutral)
    frame = read_frame(tmp_path / "a.dng")
    expected = centres(light) @ SRGB_TO_2020.T
    ratio = centres(frame.pixels) / expected
    assert np.abs(ratio - 1).max() < 0.005
    assert frame.embedded.icc_profile == profiles.wide()
    assert frame.capture.camera == "Vale One"


def test_a_raw_developed_to_srgb_gives_the_cameras_own_values(tmp_path: Path) -> None:
    light = patches(2)
    write_dng(tmp_path / "a.dng", light)
    frame = read_frame(tmp_path / "a.dng", raw_colours="srgb")
    np.testing.assert_allclose(centres(frame.pixels), centres(light), rtol=0.005)
    assert frame.embedded.icc_profile == profiles.srgb()


def test_the_foreground_frame_takes_the_white_balance_of_the_background_frame(
    tmp_path: Path,
) -> None:
    """The camera took another balance for the second frame; the light between them is 1/2."""
    light = patches(3, top=0.45)
    write_dng(tmp_path / "a.dng", light, neutral=(0.5, 1.0, 0.7))
    write_dng(tmp_path / "b.dng", light / 2, neutral=(0.5, 1.0, 0.7))
    with tifffile.TiffFile(tmp_path / "b.dng", mode="r+b") as file:
        wrong = _fractions(np.array([0.8, 1.0, 0.5]))
        file.pages.first.tags[50728].overwrite(wrong, dtype="2I")
    background = read_frame(tmp_path / "a.dng")
    alone = read_frame(tmp_path / "b.dng")
    matched = read_frame(tmp_path / "b.dng", match=background)
    ratio = centres(matched.pixels) / centres(background.pixels)
    assert np.abs(ratio - 0.5).max() < 0.0025
    assert np.abs(centres(alone.pixels) / centres(background.pixels) - 0.5).max() > 0.05
    assert "white balance of the background frame" in matched.notes[0]


def test_a_full_sensor_is_marked_where_it_is_full(tmp_path: Path) -> None:
    light = patches(4, top=0.8)
    light[100:140, 150:200, 0] = 1.3
    write_dng(tmp_path / "a.dng", light)
    frame = read_frame(tmp_path / "a.dng")
    assert frame.clipped is not None
    marked = np.argwhere(frame.clipped)
    assert marked.min(axis=0).tolist() == [99, 149]
    assert marked.max(axis=0).tolist() == [139, 199]
    assert "sensor was full on" in " ".join(frame.notes)
    assert "%" in " ".join(frame.notes)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_turned_raw_comes_upright_with_its_marks(tmp_path: Path, orientation: int) -> None:
    light = patches(5, top=0.8)
    light[10:40, 20:50] = 1.3
    write_dng(tmp_path / "a.dng", light, orientation=orientation)
    mirrored = orientation in (2, 4, 5, 7)
    turns = {1: 0, 2: 0, 3: 2, 4: 2, 5: 1, 6: 3, 7: 3, 8: 1}[orientation]
    light = np.fliplr(light) if mirrored else light
    frame = read_frame(tmp_path / "a.dng", raw_colours="srgb")
    upright = np.rot90(np.minimum(light, 1.0), turns)
    np.testing.assert_allclose(centres(frame.pixels), centres(upright), rtol=0.005)
    assert frame.clipped is not None
    assert frame.clipped.shape == frame.pixels.shape[:2]
    assert read_capture(tmp_path / "a.dng")[1] == frame.size
    assert frame.clipped[np.rot90(light, turns)[..., 0] > 1].all()
    write_picture(tmp_path / "o.tif", frame.pixels, like=frame)
    np.testing.assert_allclose(read_frame(tmp_path / "o.tif").pixels, frame.pixels, atol=2e-5)


def test_raws_win_over_rendered_files_only_if_both_have_one(tmp_path: Path) -> None:
    other_moment = Capture(captured_at=datetime(2025, 10, 3, 18, 59, 0))  # noqa: DTZ001 - as Exif
    picture = Frame(np.full((20, 30, 3), 0.3, np.float32), other_moment)
    for name in ("a", "b"):
        write_picture(tmp_path / f"{name}.jpg", picture.pixels, like=picture)
    pair = [tmp_path / "a.jpg", tmp_path / "b.jpg"]
    assert prefer_raws(pair) == (tuple(pair), ())
    write_dng(tmp_path / "a.dng", patches(6))
    assert prefer_raws(pair) == (tuple(pair), ())
    write_dng(tmp_path / "b.dng", patches(7))
    chosen, notes = prefer_raws(pair)
    assert [path.name for path in chosen] == ["a.jpg", "b.jpg"], "taken at another moment"
    assert notes == ()


def test_damaged_raws_are_refused_in_one_line(tmp_path: Path) -> None:
    write_dng(tmp_path / "a.dng", patches(8))
    data = (tmp_path / "a.dng").read_bytes()
    rng = np.random.default_rng(0)
    for share in (0.01, 0.5, 0.97):
        (tmp_path / "t.dng").write_bytes(data[: int(len(data) * share)])
        with pytest.raises(InputError, match=r"^t\.dng: [^\n]*$"):
            read_frame(tmp_path / "t.dng")
    for _ in range(40):
        broken = bytearray(data)
        for at in rng.integers(0, 500, 4):
            broken[at] = rng.integers(0, 256)
        (tmp_path / "m.dng").write_bytes(broken)
        try:
            frame = read_frame(tmp_path / "m.dng")
        except InputError:
            continue
        assert np.isfinite(frame.pixels).all()
    (tmp_path / "x.nef").write_text("no raw")
    with pytest.raises(InputError, match="not a RAW that LibRaw knows"):
        read_frame(tmp_path / "x.nef")


def test_without_the_extra_the_rendered_files_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A RAW beside every frame is the rule; the extra that reads it is not."""
    for seed, name in enumerate("ab"):
        write_dng(tmp_path / f"{name}.dng", patches(seed))
        frame = read_frame(tmp_path / f"{name}.dng")
        write_picture(tmp_path / f"{name}.jpg", frame.pixels, like=frame)
    for library in ("exifread", "rawpy"):
        monkeypatch.setitem(sys.modules, library, None)  # importing it now fails
    pair = (tmp_path / "a.jpg", tmp_path / "b.jpg")
    assert prefer_raws(pair) == (pair, ())


def test_the_raw_of_the_same_moment_wins_and_is_named(tmp_path: Path) -> None:
    for seed, name in enumerate("ab"):
        write_dng(tmp_path / f"{name}.dng", patches(seed))
        frame = read_frame(tmp_path / f"{name}.dng")
        write_picture(tmp_path / f"{name}.jpg", frame.pixels, like=frame)
    chosen, notes = prefer_raws([tmp_path / "a.jpg", tmp_path / "b.jpg"])
    assert chosen == (tmp_path / "a.dng", tmp_path / "b.dng")
    assert notes[0] == "a.jpg: a.dng lies beside it and was read instead"
    mixed, notes = prefer_raws([tmp_path / "a.dng", tmp_path / "b.jpg"])
    assert mixed == (tmp_path / "a.dng", tmp_path / "b.dng")
    assert len(notes) == 1
    assert as_the_pair(tmp_path / "b.jpg", tmp_path / "a.dng") == tmp_path / "b.dng"
    assert as_the_pair(tmp_path / "b.jpg", tmp_path / "a.jpg") == tmp_path / "b.jpg"


def test_a_pair_of_raws_becomes_a_master_and_a_lab_copy_in_one_command(tmp_path: Path) -> None:
    spec = PairSpec(
        foreground_disc_px=(30.0, 0.8), background_disc_px=(12.0, 2.0), gain=0.9, seed=4
    )
    pair = make_pair(SCENES["twigs_against_sky"](4, (480, 320)), spec)
    for name, frame in (("wide", pair.background), ("stopped", pair.foreground)):
        write_dng(tmp_path / f"{name}.dng", frame.pixels.astype(np.float64))
        write_picture(tmp_path / f"{name}.jpg", frame.pixels, like=frame)
    arguments = [
        "merge", "--background", tmp_path / "wide.jpg", "--foreground", tmp_path / "stopped.jpg",
        "-o", tmp_path / "out" / "gate.tif", "--deliver", "4.8x3.2,profile=srgb,dpi=254", "--pages",
    ]  # fmt: skip
    (tmp_path / "out").mkdir()
    done = CliRunner().invoke(main, [str(part) for part in arguments])
    assert done.exit_code == 0, done.output
    assert "stopped.dng lies beside it and was read instead" in done.stderr
    master = read_frame(tmp_path / "out" / "gate.tif")
    assert (master.bits, master.size) == (16, (480, 320))
    assert master.embedded.icc_profile == profiles.wide()
    (copy,) = (tmp_path / "out").glob("gate-srgb-*.jpg")
    lab = read_frame(copy)
    assert lab.embedded.icc_profile == profiles.srgb()
    assert lab.embedded.resolution_dpi == pytest.approx((254, 254), abs=1)
    assert copy.name in (tmp_path / "out" / "checksums.sha256").read_text()
    inner = slice(20, -20)
    untouched = np.abs(master.pixels - read_frame(tmp_path / "wide.dng").pixels)[inner, inner]
    assert np.median(untouched) < 1 / 65535 + 1e-6
    with tifffile.TiffFile(tmp_path / "out" / "gate.layers.tif") as pages:
        assert [page.tags[285].value for page in pages.pages] == list(PAGES)


def test_raws_can_be_merged_in_srgb(tmp_path: Path) -> None:
    light = patches(6)
    write_dng(tmp_path / "a.dng", light)
    write_dng(tmp_path / "b.dng", np.clip(light * 0.9, 0, 1))
    black = tmp_path / "none.png"
    write_grey(black, np.zeros(light.shape[:2], np.float32), bits=8)
    arguments = [
        "merge", "--background", tmp_path / "a.dng", "--foreground", tmp_path / "b.dng",
        "--matte", black, "--aligned", "--raw-colours", "srgb", "-o", tmp_path / "out.tif",
    ]  # fmt: skip
    done = CliRunner().invoke(main, [str(part) for part in arguments])
    assert done.exit_code == 0, done.output
    result = read_frame(tmp_path / "out.tif")
    assert result.embedded.icc_profile == profiles.srgb()
    np.testing.assert_allclose(centres(result.pixels), centres(light), rtol=0.006)

"""`blendkit merge` on real files: the contract, and the picture against its truth."""

import json
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner, Result
from PIL import Image

from blendkit.cli.main import main
from blendkit.cli.merge_small import PREVIEW_SOFTWARE, preview_path, reduced_pair
from blendkit.errors import InputError
from blendkit.files import read_frame, read_mask, write_picture
from blendkit.files.mark import is_marked
from blendkit.frame import Frame
from blendkit.masks.strokes import Stroke, strokes_document
from blendkit.report.inputs import Pair
from blendkit.sidecar import read_sidecar

IMAGES = Path(__file__).parents[2] / "testimages"
WIDE, STOPPED = IMAGES / "gate-wide.tif", IMAGES / "gate-stopped.tif"
MATTE, TRUTH = IMAGES / "gate-true-matte.tif", IMAGES / "gate-true-result.tif"
SIZE = (480, 320)


def merge(*arguments: object) -> Result:
    done = CliRunner().invoke(main, ["merge", *map(str, arguments)])
    assert done.exit_code == 0, done.output
    return done


@pytest.fixture(scope="module")
def merged(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    """Return the folder of a merge with the true matte, and how the command ended."""
    folder = tmp_path_factory.mktemp("merged")
    out = folder / "gate.tif"
    done = merge(STOPPED, WIDE, "-o", out, "--matte", MATTE, "--layers", "--json",
                 "--zones", folder / "zones.png", "--page")  # fmt: skip
    return folder, done


def psnr_db(result: np.ndarray, wanted: np.ndarray, where: np.ndarray) -> float:
    square = np.square(np.clip(result, 0, 1) - np.clip(wanted, 0, 1))[where]
    return float(-10 * np.log10(square.mean()))


def test_the_whole_set_stands_beside_the_result(merged: tuple[Path, Result]) -> None:
    assert {path.name for path in merged[0].iterdir()} == {
        "gate.tif", "gate.report.json", "gate.flags.png", "gate.sources.png", "gate.preview.jpg",
        "gate.matte.tif", "gate.plate.tif", "gate.foreground.tif", "gate.blendkit.json",
        "zones.png", "gate.report.html",
    }  # fmt: skip


def test_the_zones_number_every_piece_of_foreground(merged: tuple[Path, Result]) -> None:
    inner = (slice(30, -30), slice(30, -30))  # both frames reach it
    zones = np.asarray(Image.open(merged[0] / "zones.png"))[inner]
    matte = read_mask(MATTE, size=SIZE)[inner]
    assert (zones[matte > 0.5] >= 3).all()
    assert not (zones[matte < 0.01] >= 3).any()
    assert (zones == 1).mean() > 0.02


def test_the_report_goes_to_standard_output_and_progress_to_standard_error(
    merged: tuple[Path, Result],
) -> None:
    folder, done = merged
    report = json.loads(done.stdout)
    assert report == json.loads((folder / "gate.report.json").read_text())
    assert report["output"]["path"] == str(folder / "gate.tif")
    for stage in ("alignment", "matte", "plate"):
        assert stage in done.stderr
    assert "background frame: gate-wide.tif" in done.stderr


def test_the_result_is_16_bits_of_the_background_frames_size_with_its_exif(
    merged: tuple[Path, Result],
) -> None:
    pixels = tifffile.imread(merged[0] / "gate.tif")
    assert pixels.dtype == np.uint16
    assert pixels.shape == (320, 480, 3)
    with Image.open(merged[0] / "gate.tif") as picture:
        details = picture.getexif().get_ifd(0x8769)
    assert float(details[0x829D]) == 2.8
    assert float(details[0x920A]) == 135.0


def test_the_halo_is_gone(merged: tuple[Path, Result]) -> None:
    """Against the truth, in the halo: far above the background frame, and not beyond its noise."""
    truth, before = read_frame(TRUTH).pixels, read_frame(WIDE).pixels
    result = read_frame(merged[0] / "gate.tif").pixels
    matte = read_mask(MATTE, size=SIZE)
    halo = (np.abs(truth - before).max(axis=2) > 0.02) & (matte < 0.02)
    assert halo.mean() > 0.05
    gained = psnr_db(result, truth, halo) - psnr_db(before, truth, halo)
    # 16 dB of halo are as good as gone; 40 would mean that the truth leaked in
    assert 6 < gained < 30


def test_far_from_the_foreground_nothing_changes(merged: tuple[Path, Result]) -> None:
    sources = np.asarray(Image.open(merged[0] / "gate.sources.png"))
    before, after = (tifffile.imread(path) for path in (WIDE, merged[0] / "gate.tif"))
    kept = sources == 1
    assert kept.mean() > 0.1
    assert np.abs(after.astype(int) - before)[kept].max() <= 1


def test_an_all_black_matte_gives_the_background_frame(tmp_path: Path) -> None:
    Image.new("L", SIZE).save(tmp_path / "black.png")
    merge(WIDE, STOPPED, "-o", tmp_path / "r.tif", "--matte", tmp_path / "black.png")
    before, after = (tifffile.imread(path) for path in (WIDE, tmp_path / "r.tif"))
    assert np.abs(after.astype(int) - before).max() <= 1
    report = json.loads((tmp_path / "r.report.json").read_text())
    assert report["foreground"]["coverage"] == 0
    assert report["foreground"]["blur_disc_px"] is None


def test_an_all_white_matte_gives_the_aligned_foreground_frame(tmp_path: Path) -> None:
    Image.new("L", SIZE, 255).save(tmp_path / "white.png")
    merge(
        WIDE, STOPPED, "-o", tmp_path / "r.tif",
        "--matte", tmp_path / "white.png", "--keep-grain",
    )  # fmt: skip
    result, truth = read_frame(tmp_path / "r.tif").pixels, read_frame(TRUTH).pixels
    boughs = read_mask(MATTE, size=SIZE) > 0.95
    assert boughs.sum() > 500
    # the boughs lie where the truth has them
    assert psnr_db(result, truth, boughs) > 24
    shares = json.loads((tmp_path / "r.report.json").read_text())["sources"]
    assert shares["foreground-frame"]["share"] > 0.9


def test_named_roles_do_not_depend_on_tags(tmp_path: Path) -> None:
    """What is named wrongly is done as named: the sharp frame becomes the background frame."""
    Image.new("L", SIZE).save(tmp_path / "black.png")
    merge(
        "--background", STOPPED, "--foreground", WIDE, "-o", tmp_path / "r.tif",
        "--matte", tmp_path / "black.png",
    )  # fmt: skip
    before, after = (tifffile.imread(path) for path in (STOPPED, tmp_path / "r.tif"))
    assert np.abs(after.astype(int) - before).max() <= 1


def test_a_preview_is_one_small_picture(tmp_path: Path) -> None:
    merge(WIDE, STOPPED, "-o", tmp_path / "p.jpg", "--matte", MATTE, "--preview")
    assert [path.name for path in tmp_path.iterdir()] == ["p.jpg"]
    with Image.open(tmp_path / "p.jpg") as picture:
        assert picture.size == SIZE


def test_a_preview_knows_what_was_clipped_before_colours_were_converted() -> None:
    clipped = np.zeros((40, 60), np.bool_)
    clipped[10, 21] = True
    frame = Frame(np.full((40, 60, 3), 0.5, np.float32), clipped=clipped)
    small = reduced_pair(Pair(frame, frame), 2).background
    assert small.clipped is not None
    assert np.argwhere(small.clipped).tolist() == [[5, 10]]


def test_a_preview_does_not_take_the_place_of_a_result(tmp_path: Path) -> None:
    """Its report lies elsewhere, so only the picture itself tells that it is no preview."""
    (tmp_path / "p.tif").write_bytes(WIDE.read_bytes())
    done = merge(WIDE, STOPPED, "-o", tmp_path / "p.tif", "--matte", MATTE, "--preview")
    assert (tmp_path / "p.tif").read_bytes() == WIDE.read_bytes()
    assert "is kept for a result in full; the preview is p-small.tif" in done.stderr
    assert read_frame(tmp_path / "p-small.tif").size == SIZE
    assert is_marked(tmp_path / "p-small.tif"), "or it would be paired as a frame"
    assert preview_path(tmp_path / "p.tif") == tmp_path / "p-small.tif", "a preview may be replaced"
    (tmp_path / "p-small.tif").write_bytes(WIDE.read_bytes())
    with pytest.raises(InputError, match=r"p-small\.tif: is no preview .* another name with -o"):
        preview_path(tmp_path / "p.tif")


@pytest.mark.parametrize("suffix", ["tif", "png", "jpg"])
def test_a_preview_is_known_for_one_whatever_its_kind(tmp_path: Path, suffix: str) -> None:
    output = tmp_path / f"p.{suffix}"
    frame = Frame(np.full((20, 30, 3), 0.5, np.float32))
    assert preview_path(output) == output
    write_picture(output, frame.pixels, like=frame, software=PREVIEW_SOFTWARE)
    assert preview_path(output) == output
    (tmp_path / "p.report.json").write_text(json.dumps({"output": None}))  # of a refused merge
    assert preview_path(output) == output
    (tmp_path / "p.report.json").write_text(json.dumps({"output": {"path": str(output)}}))
    assert preview_path(output).stem == "p-small"
    (tmp_path / "p.report.json").unlink()
    write_picture(output, frame.pixels, like=frame)
    assert preview_path(output).stem == "p-small"


def test_strokes_and_ties_are_kept_for_the_next_run(tmp_path: Path) -> None:
    strokes = (Stroke(((20.0, 20.0), (90.0, 60.0)), 9.0, "foreground"),)
    (tmp_path / "s.json").write_text(json.dumps(strokes_document(strokes, SIZE)))
    Image.new("L", SIZE).save(tmp_path / "black.png")
    common = (WIDE, STOPPED, "-o", tmp_path / "r.tif", "--matte", tmp_path / "black.png")
    merge(*common, "--strokes", tmp_path / "s.json", "--print", "30x20")
    sidecar = read_sidecar(tmp_path / "r.blendkit.json")
    assert sidecar.strokes == strokes
    assert sidecar.size == SIZE
    assert (tmp_path / sidecar.inputs["background"]).resolve() == WIDE.resolve()
    viewing = json.loads((tmp_path / "r.report.json").read_text())["settings"]["viewing"]
    assert (viewing["print_width_cm"], viewing["print_height_cm"]) == (30.0, 20.0)
    again = merge(*common)
    assert "taken up from r.blendkit.json: 1 strokes" in again.stderr


def test_the_same_merge_twice_gives_the_same_bytes_of_pixels(tmp_path: Path) -> None:
    for name in ("a.tif", "b.tif"):
        merge(WIDE, STOPPED, "-o", tmp_path / name, "--matte", MATTE)
    assert np.array_equal(tifffile.imread(tmp_path / "a.tif"), tifffile.imread(tmp_path / "b.tif"))

"""Bad input to `blendkit merge`: one line that names the file and the next step, exit 2, no file.

All through the real command.  Files are damaged the way cards, transfers and exports damage them.
"""

import json
import os
import resource
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from click.testing import CliRunner, Result
from PIL import Image

from blendkit.cli import merge_run
from blendkit.cli.main import main
from blendkit.files import write_picture
from blendkit.frame import Frame

IMAGES = Path(__file__).parents[2] / "testimages"
SIZE = (96, 64)
LONG = "n" * 300


def textured(seed: int, size: tuple[int, int] = SIZE) -> np.ndarray:
    rng = np.random.default_rng(seed)
    rough = cv2.GaussianBlur(rng.random((size[1], size[0], 3)).astype(np.float32), (0, 0), 1.5)
    span = rough.max() - rough.min()
    return np.asarray((0.1 + 0.8 * (rough - rough.min()) / span) * 65535, np.uint16)


@pytest.fixture
def good(tmp_path: Path) -> Path:
    """Return a folder with a sound pair."""
    for name in ("wide.tif", "stopped.tif"):
        tifffile.imwrite(tmp_path / name, textured(1), photometric="rgb")
    return tmp_path


def run(folder: Path, *arguments: str) -> Result:
    frames = ["--background", str(folder / "wide.tif"), "--foreground", str(folder / "stopped.tif")]
    out = ["-o", str(folder / "gate.tif")]
    return CliRunner().invoke(main, ["merge", *frames, *out, *arguments])


def assert_refused(done: Result, folder: Path, before: set[str], *words: str) -> None:
    assert done.exit_code == 2, done.output
    assert done.stdout == ""
    lines = [line for line in done.stderr.splitlines() if line.startswith("blendkit: ")]
    assert len(lines) == 1
    assert done.stderr.splitlines()[-1] == lines[0]
    for word in words:
        assert word in lines[0]
    # what is wrong, then what to do
    assert ":" in lines[0].removeprefix("blendkit: ") or ";" in lines[0]
    assert {path.name for path in folder.iterdir()} == before


def not_a_picture(path: Path) -> None:
    path.write_text("aperture 2.8, shutter 1/500")


def empty(path: Path) -> None:
    path.write_bytes(b"")


def cut_short(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:20_000])


def a_header_alone(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:8])


def not_numbers(path: Path) -> None:
    pixels = np.full((64, 96, 3), 0.5, np.float32)
    pixels[3, 4, 1] = np.nan
    tifffile.imwrite(path, pixels, photometric="rgb")


def infinite(path: Path) -> None:
    pixels = np.full((64, 96, 3), 0.5, np.float32)
    pixels[0, 0] = np.inf
    tifffile.imwrite(path, pixels, photometric="rgb")


def cmyk(path: Path) -> None:
    Image.new("CMYK", SIZE, (10, 20, 30, 0)).save(path, format="TIFF")


def cmyk_jpeg(path: Path) -> None:
    Image.new("CMYK", SIZE, (10, 20, 30, 0)).save(path, format="JPEG")


def palette(path: Path) -> None:
    Image.new("P", SIZE).save(path, format="TIFF")


def palette_png(path: Path) -> None:
    Image.new("P", SIZE).save(path, format="PNG")


def no_pixels(path: Path) -> None:
    """Write a PNG whose header says 0 x 0, with a sound checksum."""
    import zlib  # noqa: PLC0415 - for this one file

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            len(body).to_bytes(4) + kind + body + (zlib.crc32(kind + body) & 0xFFFFFFFF).to_bytes(4)
        )

    head = (0).to_bytes(4) + (0).to_bytes(4) + bytes([8, 2, 0, 0, 0])
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b""))
        + chunk(b"IEND", b"")
    )


def with_alpha(path: Path) -> None:
    Image.new("RGBA", SIZE, (10, 20, 30, 128)).save(path, format="TIFF")


DAMAGE: tuple[Callable[[Path], None], ...] = (
    not_a_picture, empty, cut_short, a_header_alone, not_numbers, infinite, cmyk, cmyk_jpeg,
    palette, palette_png, no_pixels, with_alpha,
)  # fmt: skip


@pytest.mark.parametrize("damage", DAMAGE, ids=lambda item: item.__name__)
@pytest.mark.parametrize("name", ["wide.tif", "stopped.tif"])
def test_a_frame_that_cannot_be_used(good: Path, name: str, damage: Callable[[Path], None]) -> None:
    damage(good / name)
    assert_refused(run(good), good, {"wide.tif", "stopped.tif"}, name)


def test_a_missing_frame(good: Path) -> None:
    (good / "stopped.tif").unlink()
    assert_refused(run(good), good, {"wide.tif"}, "stopped.tif", "no such file")


@pytest.mark.parametrize("size", [(1, 1), (15, 15), (22, 22), (64, 16), (22, 64)])
def test_pictures_too_small_to_hold_anything(good: Path, size: tuple[int, int]) -> None:
    for name in ("wide.tif", "stopped.tif"):
        tifffile.imwrite(good / name, textured(1, size), photometric="rgb")
    done = run(good, "--aligned")
    words = f"{size[0]}x{size[1]} px", "at least 23 px a side"
    assert_refused(done, good, {"wide.tif", "stopped.tif"}, *words)


def test_pictures_of_the_least_size_are_merged(good: Path) -> None:
    for seed, name in enumerate(("wide.tif", "stopped.tif")):
        tifffile.imwrite(good / name, textured(seed, (40, 23)), photometric="rgb")
    done = run(good, "--aligned")
    assert done.exit_code == 0, done.output


def test_a_mask_in_which_nothing_is_painted(good: Path) -> None:
    Image.new("L", SIZE).save(good / "black.png")
    done = run(good, "--foreground-mask", str(good / "black.png"))
    before = {"wide.tif", "stopped.tif", "black.png"}
    assert_refused(done, good, before, "black.png", "nothing is painted")


def test_two_sizes(good: Path) -> None:
    tifffile.imwrite(good / "stopped.tif", textured(2, (90, 64)), photometric="rgb")
    words = "wide.tif is 96x64", "stopped.tif is 90x64"
    assert_refused(run(good), good, {"wide.tif", "stopped.tif"}, *words)


def test_one_frame_turned(good: Path) -> None:
    tifffile.imwrite(good / "stopped.tif", textured(2, SIZE[::-1]), photometric="rgb")
    assert_refused(run(good), good, {"wide.tif", "stopped.tif"}, "turned by 90 degrees")


@pytest.mark.parametrize("option", ["--foreground-mask", "--background-mask", "--matte"])
def test_a_mask_of_another_size(good: Path, option: str) -> None:
    Image.new("L", (95, 64)).save(good / "painted.png")
    done = run(good, option, str(good / "painted.png"))
    before = {"wide.tif", "stopped.tif", "painted.png"}
    assert_refused(done, good, before, "painted.png", "95 x 64", "96 x 64")


def test_a_missing_mask(good: Path) -> None:
    done = run(good, "--matte", str(good / "none.png"))
    assert_refused(done, good, {"wide.tif", "stopped.tif"}, "none.png")


@pytest.mark.parametrize(
    "text",
    [
        "", "{", "[]", '{"schema": "blendkit.strokes/1"}',
        json.dumps({"schema": "blendkit.strokes/1", "size": [10, 10], "strokes": []}),
    ],
)  # fmt: skip
def test_strokes_that_cannot_be_used(good: Path, text: str) -> None:
    (good / "s.json").write_text(text)
    done = run(good, "--strokes", str(good / "s.json"))
    assert_refused(done, good, {"wide.tif", "stopped.tif", "s.json"}, "s.json")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["-o", "none/gate.tif"], ("none/gate.tif", "folder does not exist")),
        (["-o", "wide.tif/gate.tif"], ("wide.tif/gate.tif", "folder does not exist")),
        (["-o", "."], ("this is a folder",)),
        (["-o", "gate.bmp"], ("gate.bmp", ".tif")),
        (["-o", f"{'g' * 243}.tif"], ("g.blendkit.json: the name is too long",)),
        (["-o", f"{'g' * 243}.tif", "--preview"], ("g.blendkit.json: the name is too long",)),
        (["-o", "wide.tif"], ("wide.tif", "names the input")),
        (["-o", "./../{name}/stopped.tif"], ("stopped.tif", "names the input")),
        (["-o", "gate.tif", "--report", "stopped.tif"], ("stopped.tif", "names the input")),
        (["-o", "gate.tif", "--report", "gate.tif"], ("gate.tif", "another name")),
        (["-o", "gate.tif", "--print", "wide"], ("--print", "wide")),
        (["-o", "gate.tif", "--disc-px", "-3"], ("disc_px", "-3")),
        *(
            (["-o", "gate.tif", "--tie", text], (f"--tie {text}:", "as in 120,80=131,77"))
            for text in ("1,2", "1,2,3=4", "1,2,3,4", "1=2,3,4", "1,2=3,4=", "1,2=3,x", "=", "")
        ),
        (["-o", "gate.tif", "--tie", "500,10=12,13"], ("500,10", "outside the picture")),
        (
            ["-o", "gate.tif", "--aligned", "--tie", "5,10=12,13"],
            ("--tie 5,10=12,13", "leave out one"),
        ),
        (["-o", "gate.jpg", "--bits", "16"], ("gate.jpg", "16 bits")),
        (["-o", "gate.tif", "--zones", "z.tif"], ("z.tif", ".png")),
        (["-o", "gate.tif", "--zones", "gate.flags.png"], ("gate.flags.png", "another name")),
        (["-o", "gate.tif", "--deliver", "30x20,profile=cmyk"], ("cmyk", "srgb")),
        (["-o", "gate.tif", "--deliver", "full,name={size}"], ("no field 'size'", "stem")),
        (["-o", "gate.tif", "--deliver", "full,name={number:q}"], ("check its braces",)),
        (
            ["-o", "gate.tif", "--deliver", "30x20", "--deliver", "30x20,sharpen=1"],
            ("copy 2 would be named", "as copy 1 is", "--deliver 30x20,name={stem}-copy2"),
        ),
        (
            ["-o", "gate.tif", "--deliver", "full", "--deliver", "90x60"],
            ("gate-srgb-96x64.jpg as copy 1 is", "name={stem}-copy2"),
        ),
        (
            ["-o", "gate.jpg", "--deliver", "full,name={stem}"],
            ("gate.jpg as the result is", "name={stem}-copy1"),
        ),
        (
            ["-o", "gate.tif", "--deliver", "full,name={stem}.preview"],
            ("gate.preview.jpg as the preview is",),
        ),
        (["-o", "gate.tif", "--deliver", "full,name=wide,format=tiff"], ("names the input",)),
        *(
            (["-o", "gate.tif", "--report", named], (": this is a folder: name a file in it",))
            for named in (".", "", "/")
        ),
        (["-o", f"{LONG}.tif"], (LONG, "the name is too long")),
        (["-o", f"{LONG}.tif", "--preview"], (LONG, "the name is too long")),
        (["-o", f"{LONG}/gate.tif"], (LONG, "the name is too long")),
        (["-o", "gate.tif", "--report", f"{LONG}/r.json"], (LONG, "the name is too long")),
        (["-o", "gate.tif", "--clear", f"{LONG}.tif"], (LONG, "cannot be read")),
        (["-o", "gate.tif", "--strokes", f"{LONG}.json"], (LONG, "cannot be read (File name too")),
        (["-o", "gate.tif", "--strokes", "."], ("cannot be read (Is a directory)",)),
        (["-o", "gate.tif", "--deliver", f"full,profile={LONG}.icc"], (LONG, "or an ICC file")),
        (["-o", "gate.tif", "--repair", "bridge"], ("--bridge",)),
        (["-o", "gate.tif", "--preview", "--layers"], ("--layers", "--preview")),
    ],
)
def test_outputs_and_options_that_cannot_be(
    good: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], words: tuple[str, ...]
) -> None:
    monkeypatch.chdir(good)
    filled = [word.replace("{name}", good.name) for word in arguments]
    frames = ["--background", "wide.tif", "--foreground", "stopped.tif"]
    done = CliRunner().invoke(main, ["merge", *frames, *filled])
    assert_refused(done, good, {"wide.tif", "stopped.tif"}, *words)


@pytest.mark.parametrize("size", [None, (40, 60)])
def test_a_bridge_frame_that_cannot_be_laid_in_is_told_before_the_merge(
    good: Path, monkeypatch: pytest.MonkeyPatch, size: tuple[int, int] | None
) -> None:
    middle = good / "middle.tif"
    if size:
        pixels = np.full((*size, 3), 0.5, np.float32)
        write_picture(middle, pixels, like=Frame(pixels))
    merges: list[object] = []
    monkeypatch.setattr(merge_run, "_merged", lambda *given: merges.append(given))
    done = run(good, "-o", str(good / "gate.tif"), "--bridge", str(middle))
    there = {"wide.tif", "stopped.tif"} | ({"middle.tif"} if size else set())
    assert_refused(done, good, there, "middle.tif", "use one size" if size else "no such file")
    assert merges == []


@pytest.mark.parametrize("at", [0, 1])
def test_a_frame_whose_name_is_too_long(
    good: Path, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    monkeypatch.chdir(good)
    frames = ["wide.tif", "stopped.tif"]
    frames[at] = f"{LONG}.tif"
    done = CliRunner().invoke(main, ["merge", *frames, "-o", "gate.tif"])
    assert_refused(done, good, {"wide.tif", "stopped.tif"}, LONG, "cannot be read (File name too")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may enter anywhere")
@pytest.mark.parametrize("option", ["-o", "--report", "--clear", "--strokes", "--foreground-mask"])
def test_a_folder_that_may_not_be_entered(good: Path, option: str) -> None:
    locked = good / "locked"
    locked.mkdir(mode=0o000)
    done = run(good, option, str(locked / "gate.tif"))
    locked.chmod(0o700)
    assert_refused(done, locked, set(), str(locked / "gate.tif"))


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_cannot_be_written(good: Path) -> None:
    locked = good / "locked"
    locked.mkdir(mode=0o500)
    done = run(good, "-o", str(locked / "gate.tif"))
    assert_refused(done, locked, set(), "the folder cannot be written")


def test_a_link_to_an_input_is_an_input(good: Path) -> None:
    (good / "gate.tif").hardlink_to(good / "wide.tif")
    before = {"wide.tif", "stopped.tif", "gate.tif"}
    assert_refused(run(good), good, before, "gate.tif", "names the input")


@pytest.mark.parametrize(
    ("frames", "word"),
    [
        ([], "give two frames"),
        (["wide.tif"], "give two frames"),
        (["wide.tif", "stopped.tif", "third.tif"], "give two frames"),
        (["wide.tif", "--foreground", "stopped.tif"], "give two frames"),
        (["--background", "wide.tif"], "give two frames"),
        (["wide.tif", "wide.tif"], "wide.tif: is given as both frames"),
    ],
)
def test_frames_given_wrongly(
    good: Path, monkeypatch: pytest.MonkeyPatch, frames: list[str], word: str
) -> None:
    # Of frames that are the same picture, that alone would be refused.
    tifffile.imwrite(good / "stopped.tif", textured(2), photometric="rgb")
    monkeypatch.chdir(good)
    done = CliRunner().invoke(main, ["merge", *frames, "-o", "gate.tif"])
    assert_refused(done, good, {"wide.tif", "stopped.tif"}, word)


def test_open_roles_are_asked_for(good: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(good)
    done = CliRunner().invoke(main, ["merge", "wide.tif", "stopped.tif", "-o", "gate.tif"])
    words = "wide.tif", "no f-number", "--background FILE --foreground FILE"
    assert_refused(done, good, {"wide.tif", "stopped.tif"}, *words)


def test_frames_that_cannot_be_aligned_end_with_3_and_a_report(good: Path) -> None:
    tifffile.imwrite(good / "stopped.tif", textured(9), photometric="rgb")
    done = run(good, "--json")
    assert done.exit_code == 3
    assert {path.name for path in good.iterdir()} == {"wide.tif", "stopped.tif", "gate.report.json"}
    report = json.loads((good / "gate.report.json").read_text())
    assert json.loads(done.stdout) == report
    (flag,) = report["flags"]
    assert (flag["kind"], flag["severity"]) == ("not-aligned", "fail")
    assert done.stderr.splitlines()[-1].startswith("blendkit: ")
    assert flag["message"] in done.stderr
    assert report["output"] is None


def test_a_disk_that_takes_no_more_leaves_nothing(good: Path) -> None:
    """The system itself refuses: no file of this process may grow beyond 8 kB."""

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (8192, 8192))

    matte = good / "black.png"
    Image.new("L", SIZE).save(matte)
    code = (
        "import signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "from blendkit.cli.main import main; main()"
    )
    command = [
        sys.executable, "-c", code, "merge",
        "--background", str(good / "wide.tif"), "--foreground", str(good / "stopped.tif"),
        "--aligned", "--matte", str(matte), "-o", str(good / "gate.tif"),
    ]  # fmt: skip
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, timeout=300, preexec_fn=limit
    )
    assert done.returncode == 2, done.stderr
    last = done.stderr.splitlines()[-1]
    assert last.startswith(f"blendkit: {good / 'gate.tif'}")
    assert "Traceback" not in done.stderr
    assert {path.name for path in good.iterdir()} == {"wide.tif", "stopped.tif", "black.png"}

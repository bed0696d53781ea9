"""What disks, memory and other programs do to a merge: nothing lost, nothing half-written."""

import json
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import tifffile

from blendkit.errors import InputError
from blendkit.files import read_frame, read_mask, write_grey, write_picture

IMAGES = Path(__file__).parents[2] / "testimages"
FILES = ("gate-wide.tif", "gate-stopped.tif", "gate-true-matte.tif")
CROP = np.s_[80:240, 0:240]
RUN = "from blendkit.cli.main import main; main()"


@pytest.fixture(scope="module")
def cropped(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a quarter of the pair and its matte: faults do not mind the size."""
    folder = tmp_path_factory.mktemp("cropped")
    for name in FILES[:2]:
        frame = read_frame(IMAGES / name)
        write_picture(folder / name, np.ascontiguousarray(frame.pixels[CROP]), like=frame)
    write_grey(folder / FILES[2], read_mask(IMAGES / FILES[2], size=(480, 320))[CROP])
    return folder


def merge(out: Path, pair: Path = IMAGES, **more: Callable[[], None]) -> subprocess.Popen[str]:
    """Start a merge with matte and place given, which is the quickest."""
    background, foreground, matte = (str(pair / name) for name in FILES)
    words = [sys.executable, "-c", RUN, "merge", background, foreground, "--matte", matte]
    words.append("--aligned")
    return subprocess.Popen(
        [*words, "-o", str(out)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
        env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},  # its threads' stacks alone fill a limit
        **more,
    )  # fmt: skip


def ended(process: subprocess.Popen[str]) -> tuple[int, str]:
    """Return the exit code and the last line on standard error."""
    _, told = process.communicate(timeout=120)
    assert "Traceback" not in told, told
    return process.returncode, (told.strip().splitlines() or [""])[-1]


def assert_whole(out: Path) -> None:
    """Whatever has its final name is complete, and a result has its report."""
    for path in out.parent.glob(f"{out.stem}*"):
        if path.suffix == ".json":
            json.loads(path.read_text())
        elif path.suffix in (".tif", ".png", ".jpg"):
            assert np.isfinite(read_frame(path).pixels).all()
    if out.exists():
        assert out.with_name(f"{out.stem}.report.json").exists()


@pytest.fixture
def mounted(tmp_path: Path) -> Iterator[Path]:
    """Return a disk of one megabyte."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = shutil.which("mount")
    words = [str(mount), "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(place)]
    done = None if mount is None else subprocess.run(words, capture_output=True, check=False)
    if done is None or done.returncode:
        pytest.skip("a small disk cannot be mounted here")
    yield place
    subprocess.run([str(shutil.which("umount")), str(place)], check=True)


def test_a_full_disk(mounted: Path) -> None:
    (mounted / "other").write_bytes(bytes(800_000))
    code, told = ended(merge(mounted / "gate.tif"))
    assert code == 2
    assert "the disk is full: free some space" in told
    assert [path.name for path in mounted.iterdir()] == ["other"]


def test_a_read_only_disk(mounted: Path) -> None:
    subprocess.run([str(shutil.which("mount")), "-o", "remount,ro", str(mounted)], check=True)
    code, told = ended(merge(mounted / "gate.tif"))
    assert code == 2
    assert "choose another" in told


def test_a_disk_that_takes_no_large_file(tmp_path: Path) -> None:
    """Common practice with no source: memory cards in FAT stop at 4 GB; here at 100 kB."""

    def small_files() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))

    code, told = ended(merge(tmp_path / "gate.tif", preexec_fn=small_files))
    assert code == 2
    assert "grows larger than this disk allows" in told
    assert not list(tmp_path.iterdir())


def test_too_little_memory(tmp_path: Path) -> None:
    """The first limits that do not suffice, coming from above, are met somewhere in the merge.

    A library of C that does not check an allocation may end the process (seen once in some sixty
    runs, not traced): then no result may be there, and the next limit must be told in a sentence.
    """
    crashes = 0
    for limit_mb in range(875, 350, -75):

        def little(limit_mb: int = limit_mb) -> None:
            resource.setrlimit(resource.RLIMIT_AS, (limit_mb << 20, limit_mb << 20))

        code, told = ended(merge(tmp_path / f"{limit_mb}.tif", preexec_fn=little))
        crashes += code < 0
        if code:
            assert not (tmp_path / f"{limit_mb}.tif").exists()
        if code > 0:
            break
    assert not list(tmp_path.glob(f"*{limit_mb}*"))
    assert code == 2
    assert crashes <= 1
    assert "memory did not suffice" in told


def test_killed_at_random_moments_then_merged_again(tmp_path: Path, cropped: Path) -> None:
    out = tmp_path / "gate.tif"
    began = time.monotonic()
    assert ended(merge(out, cropped))[0] == 0
    whole_s = time.monotonic() - began
    names = {path.name for path in tmp_path.iterdir()}
    rng = random.Random(6)  # noqa: S311 - moments, not secrets
    for turn in range(3):
        if turn == 1:  # from here on there is nothing to fall back to
            for path in tmp_path.iterdir():
                path.unlink()
        process = merge(out, cropped)
        # Half of the kills come near the end, where the files are written.
        time.sleep(whole_s * (rng.uniform(0.1, 1) if turn % 2 else rng.uniform(0.85, 1.05)))
        os.killpg(process.pid, signal.SIGKILL)
        process.communicate()
        assert_whole(out)
    assert ended(merge(out, cropped))[0] == 0
    assert_whole(out)
    assert {path.name for path in tmp_path.iterdir() if path.name[0] != "."} == names


def test_two_merges_into_one_name(tmp_path: Path, cropped: Path) -> None:
    out = tmp_path / "gate.tif"
    both = [merge(out, cropped), merge(out, cropped)]
    assert [ended(process)[0] for process in both] == [0, 0]
    assert_whole(out)
    assert not [path.name for path in tmp_path.iterdir() if ".part" in path.name]


@pytest.mark.parametrize("compression", [None, "zlib"])
def test_a_file_that_changes_while_it_is_read(tmp_path: Path, compression: str | None) -> None:
    """A copy still under way: the file is cut short and filled again, over and over."""
    codes = np.random.default_rng(0).integers(0, 2**16, (600, 800, 3), dtype=np.uint16)
    path = tmp_path / "copying.tif"
    tifffile.imwrite(path, codes, photometric="rgb", compression=compression, rowsperstrip=50)
    whole = path.read_bytes()
    wanted = read_frame(path).pixels
    over = threading.Event()

    def copy() -> None:
        rng = random.Random(1)  # noqa: S311 - moments, not secrets
        while not over.is_set():
            with path.open("r+b") as stream:
                stream.truncate(int(len(whole) * rng.uniform(0.2, 0.9)))
            time.sleep(0.002)
            path.write_bytes(whole)
            time.sleep(0.002)

    writer = threading.Thread(target=copy)
    writer.start()
    refused = 0
    try:
        enough = time.monotonic() + 0.5
        while time.monotonic() < enough:
            try:
                read = read_frame(path)
            except InputError as error:
                refused += 1
                message = str(error)
            else:
                assert np.array_equal(read.pixels, wanted), "neither state, but a mixture"
    finally:
        over.set()
        writer.join()
    assert refused > 0
    assert "copying.tif" in message
    assert np.array_equal(read_frame(path).pixels, wanted)

"""Tiles show the picture: every pixel in its place, at every size, through its profile."""

import errno
import io
import os
import time
from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms, ImageOps

from blendkit.files import write_picture
from blendkit.files.profiles import oprgb, wide
from blendkit.frame import Embedded, Frame, Label
from blendkit.review import pyramid
from blendkit.review.pyramid import Pyramids, count_levels, level_size
from blendkit.review.tiles import OVERLAP_PX, TILE_PX, Placed, as_jpeg, tile_box


def picture(path: Path, size: tuple[int, int], profile: bytes | None = None) -> Frame:
    rng = np.random.default_rng(5)
    small = rng.uniform(0.02, 0.9, (9, 9, 3)).astype(np.float32)
    pixels = np.clip(cv2.resize(small, size, interpolation=cv2.INTER_CUBIC), 0, 1)
    frame = Frame(pixels, embedded=Embedded(icc_profile=profile))
    write_picture(path, pixels, like=frame)
    return frame


def assembled(placed: Placed, level: int) -> Label:
    """Put a level together from its tiles, as the page does."""
    width, height = level_size(placed.size, level)
    out = np.zeros((height, width, 3), np.uint8)
    for row in range(-(-height // TILE_PX)):
        for column in range(-(-width // TILE_PX)):
            left, top, right, bottom = tile_box(placed.size, level, column, row)
            tile = placed.tile(level, column, row)
            assert tile.shape == (bottom - top, right - left, 3)
            out[top:bottom, left:right] = tile
    return out


@pytest.mark.parametrize("size", [(37, 21), (1, 1), (513, 512), (1100, 701)])
@pytest.mark.parametrize("suffix", ["tif", "png"])
def test_tiles_put_together_are_the_picture(
    tmp_path: Path, size: tuple[int, int], suffix: str
) -> None:
    path = tmp_path / f"a.{suffix}"
    picture(path, size)
    placed = Placed(Pyramids(tmp_path / "cache").of(path), size)
    # Another library as the second opinion on what the file shows, reduced to 8 bits by both.
    if suffix == "png":
        with Image.open(path) as image:
            deep = np.asarray(image)  # Pillow keeps 8 bits of 16
    else:
        deep = tifffile.imread(path) >> 8
    assert np.abs(assembled(placed, 0).astype(int) - deep.astype(int)).max() <= 1
    for level in range(1, count_levels(size)):
        below, here = assembled(placed, level - 1), assembled(placed, level)
        assert here.shape[:2][::-1] == level_size(size, level)
        whole = below[: below.shape[0] // 2 * 2, : below.shape[1] // 2 * 2].astype(float)
        mean = whole.reshape(whole.shape[0] // 2, 2, -1, 2, 3).mean(axis=(1, 3))
        assert np.abs(here[: mean.shape[0], : mean.shape[1]] - mean).max() <= 0.51


@pytest.mark.parametrize("profile", [oprgb(), wide()])
def test_colours_are_shown_as_srgb(tmp_path: Path, profile: bytes) -> None:
    path = tmp_path / "a.tif"
    frame = picture(path, (64, 48), profile)
    shown = Placed(Pyramids(tmp_path / "cache").of(path), (64, 48)).tile(0, 0, 0)
    # LittleCMS through Pillow, from 8-bit codes, is the second opinion (ICC.1:2022).
    write_picture(tmp_path / "b.png", frame.pixels, like=frame, bits=8)
    with Image.open(tmp_path / "b.png") as image:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        target = ImageCms.createProfile("sRGB")
        intent = ImageCms.Intent.RELATIVE_COLORIMETRIC
        wanted = np.asarray(ImageCms.profileToProfile(image, source, target, intent))
    off = np.abs(shown.astype(int) - wanted.astype(int))
    # At the gamut's rim one 8-bit code of the wider profile is several of sRGB.
    inside = (wanted.min(axis=2) > 40) & (wanted.max(axis=2) < 250)
    assert inside.mean() > 0.3
    assert np.quantile(off[inside], 0.98) <= 3
    assert off.mean() < 0.7


def test_channels_that_come_one_after_the_other_are_shown_in_colour(tmp_path: Path) -> None:
    codes = np.empty((48, 64, 3), np.uint8)
    codes[:] = (200, 50, 20)
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, np.moveaxis(codes, 2, 0), photometric="rgb", planarconfig="separate")
    shown = Placed(Pyramids(tmp_path / "cache").of(path), (64, 48)).tile(0, 0, 0)
    assert np.abs(shown.astype(int) - codes.astype(int)).max() <= 2


@pytest.mark.parametrize("orientation", range(1, 9))
def test_pictures_stand_upright(tmp_path: Path, orientation: int) -> None:
    codes = np.zeros((40, 64, 3), np.uint8)
    codes[:8, :8] = 250
    path = tmp_path / "a.jpg"
    exif = Image.Exif()
    exif[0x0112] = orientation
    Image.fromarray(codes).save(path, quality=95, exif=exif)
    with Image.open(path) as image:
        upright = np.asarray(ImageOps.exif_transpose(image))
    pyramid = Pyramids(tmp_path / "cache").of(path)
    assert pyramid.size == upright.shape[1::-1]
    shown = Placed(pyramid, pyramid.size).tile(0, 0, 0)
    assert np.abs(shown.astype(int) - upright.astype(int)).max() <= 2


@pytest.mark.parametrize("level", [0, 1, 2])
def test_the_foreground_frame_is_laid_on_the_background_frame(tmp_path: Path, level: int) -> None:
    size = (1100, 700)
    path = tmp_path / "a.tif"
    picture(path, size)
    pyramid = Pyramids(tmp_path / "cache").of(path)
    matrix = np.array([[1.01, 0.004, 12.4], [-0.004, 1.01, -7.3], [0, 0, 1]])
    tiled = assembled(Placed(pyramid, size, matrix), level)
    whole = cv2.warpPerspective(
        assembled(Placed(pyramid, size), 0),
        matrix,
        size,
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderValue=(119, 119, 119),
    )
    for _ in range(level):
        whole = cv2.resize(whole, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    inside = (slice(12, -12), slice(12, -12))
    off = np.abs(tiled[inside].astype(int) - whole[inside].astype(int))
    # Half a pixel out of register would show: this picture's neighbours differ by about a code.
    assert np.quantile(off, 0.99) <= 2


def test_tiles_are_jpeg_that_another_library_reads(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    picture(path, (300, 200))
    tile = Placed(Pyramids(tmp_path / "cache").of(path), (300, 200)).tile(0, 0, 0)
    with Image.open(io.BytesIO(as_jpeg(tile))) as image:
        assert image.size == (300, 200)
        off = np.abs(np.asarray(image).astype(int) - tile.astype(int))
    assert off.max() <= 16  # of a picture that is all gradients and grain
    assert 0 < off.mean() < 1.5


def test_there_are_no_tiles_outside_the_picture() -> None:
    assert tile_box((600, 400), 0, 1, 0) == (TILE_PX - OVERLAP_PX, 0, 600, 400)
    for level, column, row in ((0, 2, 0), (0, 0, 1), (-1, 0, 0), (9, 0, 0), (0, -1, 0)):
        assert tile_box((600, 400), level, column, row) is None


def test_a_pyramid_is_made_once_and_again_when_the_file_changes(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    picture(path, (600, 400))
    pyramids = Pyramids(tmp_path / "cache")
    first = pyramids.of(path)
    made = (first.folder / "about.json").stat().st_ino
    assert Pyramids(tmp_path / "cache").of(path).folder == first.folder
    assert (first.folder / "about.json").stat().st_ino == made
    picture(path, (620, 400))
    again = pyramids.of(path)
    assert again.folder != first.folder
    assert again.size == (620, 400)
    assert not list((tmp_path / "cache").glob(".part-*"))


def test_a_pyramid_whose_removal_was_cut_off_is_made_again_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def cut_off(folder: Path, **_: object) -> None:
        for rows in folder.glob("0.rows"):
            rows.unlink()

    path, other = tmp_path / "a.png", tmp_path / "b.png"
    for one in (path, other):
        picture(one, (600, 400))
    first = Pyramids(tmp_path / "cache").of(path)
    whole = first.window(0, (0, 0, 600, 400))
    with monkeypatch.context() as patched:
        patched.setattr(pyramid.shutil, "rmtree", cut_off)
        Pyramids(tmp_path / "cache", limit_bytes=0).of(other)  # makes room for itself
    assert first.folder.exists()
    again = Pyramids(tmp_path / "cache").of(path)
    assert np.array_equal(again.window(0, (0, 0, 600, 400)), whole)
    made = (again.folder / "about.json").stat().st_ino
    assert (Pyramids(tmp_path / "cache").of(path).folder / "about.json").stat().st_ino == made


def test_a_pyramid_that_another_server_finished_first_is_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.png"
    picture(path, (600, 400))
    own = pyramid._fill_levels

    def fill(path: Path, folder: Path) -> pyramid.Size:
        monkeypatch.setattr(pyramid, "_fill_levels", own)
        made.append((Pyramids(tmp_path / "cache").of(path).folder / "about.json").stat().st_ino)
        return own(path, folder)

    made: list[int] = []
    monkeypatch.setattr(pyramid, "_fill_levels", fill)
    late = Pyramids(tmp_path / "cache").of(path)
    assert [(late.folder / "about.json").stat().st_ino] == made


def test_what_a_killed_server_left_goes_after_a_day_and_nothing_else(tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    picture(tmp_path / "a.png", (60, 40))
    finished = Pyramids(cache).of(tmp_path / "a.png").folder
    own = "f" * 32  # the folder may be the user's, and hold anything under any name
    ages_h = {".part-old": 25, "0" * 32: 25, ".part-new": 1, own: 25, "empty": 25}
    for name in ages_h:
        (cache / name).mkdir()
        if name != "empty":
            (cache / name / "0.rows").write_bytes(b"x")
    (cache / own / "IMG_0001.jpg").write_bytes(b"x")
    for name, hours in {**ages_h, finished.name: 25}.items():
        then = time.time() - 3600 * hours
        os.utime(cache / name, (then, then))
    picture(tmp_path / "b.png", (60, 40))
    newest = Pyramids(cache).of(tmp_path / "b.png").folder
    left = {part.name for part in cache.iterdir()}
    assert left == {".part-new", own, "empty", finished.name, newest.name}


def test_to_make_room_nothing_of_the_users_is_removed(tmp_path: Path) -> None:
    own = tmp_path / "cache" / "notes"
    own.mkdir(parents=True)
    (own / "about.json").write_text("{}")
    (own / "IMG_0001.jpg").write_bytes(bytes(1000))
    picture(tmp_path / "a.png", (60, 40))
    Pyramids(tmp_path / "cache", limit_bytes=1).of(tmp_path / "a.png")
    assert len(list(own.iterdir())) == 2


def test_the_cache_keeps_to_its_limit(tmp_path: Path) -> None:
    pyramids = Pyramids(tmp_path / "cache", limit_bytes=500_000)
    for name in "abcd":
        path = tmp_path / f"{name}.png"
        picture(path, (400, 300))
        newest = pyramids.of(path)
    kept = list((tmp_path / "cache").iterdir())
    assert newest.folder in kept
    assert 1 <= len(kept) <= 3  # 390 kB each: the limit is kept before another is made


def test_a_disk_that_is_full_is_said_and_ends_no_process(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A mapped file without its room on the disk would end the server with SIGBUS."""

    def full(*_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def unknown(*_: int) -> None:
        raise OSError(errno.EOPNOTSUPP, os.strerror(errno.EOPNOTSUPP))

    picture(tmp_path / "a.png", (600, 400))
    monkeypatch.setattr(os, "posix_fallocate", full, raising=False)
    with pytest.raises(OSError, match=r"0\.rows") as caught:
        Pyramids(tmp_path / "cache").of(tmp_path / "a.png")
    assert caught.value.errno == errno.ENOSPC
    assert not list((tmp_path / "cache").iterdir())
    monkeypatch.setattr(os, "posix_fallocate", unknown)
    made = Pyramids(tmp_path / "cache").of(tmp_path / "a.png")
    assert made.window(0, (0, 0, 600, 400)).any()
    blocks = (made.folder / "0.rows").stat().st_blocks
    assert 512 * blocks >= 600 * 400 * 3


def test_the_cache_leaves_half_of_what_the_disk_has_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = {}
    for free in (10**9, 100_000):
        disk = SimpleNamespace(free=free)
        monkeypatch.setattr(pyramid.shutil, "disk_usage", lambda _, disk=disk: disk)
        cache = tmp_path / f"cache-{free}"
        for name in "ab":
            picture(tmp_path / f"{name}.png", (400, 300))
            Pyramids(cache).of(tmp_path / f"{name}.png")
        kept[free] = len(list(cache.iterdir()))
    assert kept == {10**9: 2, 100_000: 1}

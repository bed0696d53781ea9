"""A corpus of sound files, ways to damage them, and the readers that must survive it.

Used by the short run in test_readers_survive.py and by the long one, tests/bench/fuzz.py.
"""

import json
import time
import tracemalloc
import zlib
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tifffile
from PIL import Image

from blendkit.batch.pairs_file import read_pairs, read_settings
from blendkit.cli.repair import read_report
from blendkit.errors import InputError
from blendkit.files import exif, ifd, profiles, read_frame, read_labels, read_mask, write_picture
from blendkit.files.capture import read_capture
from blendkit.files.limits import MAX_COMPRESSION
from blendkit.frame import Embedded, Frame
from blendkit.report.inputs import read_strokes
from blendkit.sidecar import read_sidecar

SIZE = (40, 30)
LONGEST_S = 5.0
WORKING_BYTES = 64 << 20
"""What a reader may use besides its pixels."""


def allowed_bytes(stored: int) -> int:
    """Return the most memory that reading a file of so many bytes may take.

    `check_claim` believes a header up to MAX_COMPRESSION times the file; a code becomes a float of
    four bytes at most four times over on its way.
    """
    return WORKING_BYTES + 16 * (stored * MAX_COMPRESSION + 65_536)


@dataclass(frozen=True)
class Kind:
    """A reader, and the sound files that damage starts from."""

    name: str
    suffix: str
    read: Callable[[Path], object]
    sound: tuple[bytes, ...]
    text: bool = False


def kinds(folder: Path) -> tuple[Kind, ...]:
    """Return every reader with its corpus; folder: a place for the files that pairs name."""
    pictures = _pictures(folder)
    for name in ("wide.tif", "stopped.tif"):
        (folder / name).write_bytes(pictures["plain.tif"])
    grey = (pictures["grey.png"], pictures["grey.tif"])
    tiffs = tuple(v for n, v in pictures.items() if n.endswith(".tif"))
    pngs = tuple(v for n, v in pictures.items() if n.endswith(".png"))
    jpegs = tuple(v for n, v in pictures.items() if n.endswith(".jpg"))
    icc = (
        profiles.srgb(),
        profiles.wide(),
        profiles.oprgb(),
        profiles.linear_twin(profiles.wide()),
    )
    return (
        Kind("tiff", ".tif", read_frame, tiffs),
        Kind("png", ".png", read_frame, pngs),
        Kind("jpeg", ".jpg", read_frame, jpegs),
        Kind("mask", ".png", lambda path: read_mask(path, size=SIZE), grey),
        Kind("labels", ".png", read_labels, grey),
        Kind("capture", ".tif", read_capture, (*tiffs, *jpegs)),
        Kind("icc", ".icc", lambda path: profiles.parse(path.read_bytes()), icc),
        Kind("exif", ".exif", _read_exif, (ifd.dump_block(DIRECTORY),)),
        Kind("strokes", ".json", lambda path: read_strokes(path, SIZE), (_json(STROKES),), True),
        Kind("sidecar", ".json", read_sidecar, (_json(SIDECAR),), True),
        Kind("report", ".json", read_report, (_json(REPORT),), True),
        Kind("pairs", ".toml", _read_pairs, (PAIRS.encode(),), True),
        Kind("settings", ".toml", read_settings, (SETTINGS.encode(),), True),
    )


DIRECTORY: ifd.Directory = {
    exif.MAKE: ifd.ascii_entry("Vale"),
    exif.MODEL: ifd.ascii_entry("Vale One"),
    exif.ORIENTATION: ifd.short_entry(6),
    ifd.EXIF: {
        exif.EXPOSURE_TIME: ifd.rational_entry((1, 125)),
        exif.F_NUMBER: ifd.rational_entry((28, 10)),
        exif.ISO: ifd.short_entry(100),
        exif.ORIGINAL_TIME: ifd.ascii_entry("2025:10:03 18:41:07"),
        exif.ORIGINAL_SUBSEC: ifd.ascii_entry("250"),
        exif.ORIGINAL_OFFSET: ifd.ascii_entry("+02:00"),
        exif.SUBJECT_DISTANCE: ifd.rational_entry((52, 10)),
        exif.FOCAL_LENGTH: ifd.rational_entry((135, 1)),
        exif.MAKER_NOTE: ifd.undefined_entry(b"offsets" * 40),
    },
}
STROKES = {
    "schema": "blendkit.strokes/1",
    "size": list(SIZE),
    "strokes": [
        {"points": [[3, 4], [20.5, 11.25]], "diameter_px": 6.5, "role": "foreground"},
        {"points": [[1, 1]], "diameter_px": 3, "role": "erase"},
    ],
}
SIDECAR = {
    "schema": "blendkit.sidecar/1",
    "inputs": {"background": "wide.tif", "foreground": "stopped.tif"},
    "strokes": STROKES,
    "settings": {"matte": {"hold": 4.0}},
    "repairs": [],
    "decision": "open",
}
REPORT = {
    "schema": "blendkit.report/1",
    "output": {"path": "gate.tif", "bits": 16, "asked": {"aligned": False}},
    "inputs": [
        {"path": "wide.tif", "role": "background"},
        {"path": "stopped.tif", "role": "foreground"},
    ],
    "settings": {"matte": {"hold": 4.0}},
}
PAIRS = """schema = "blendkit.pairs/1"
folder = "."
[settings.matte]
hold = 4.0
[[pair]]
name = "gate-1"
background = "wide.tif"
foreground = "stopped.tif"
setup = 1
skip = false
certainty = 0.9
why = "same set-up"
"""
SETTINGS = """[matte]
hold = 4.0
edge_px = 3.0
[grain]
match = true
"""


def _json(document: object) -> bytes:
    return json.dumps(document).encode()


def _read_exif(path: Path) -> object:
    try:
        directory, _ = ifd.parse(path.read_bytes())
    except ValueError as error:  # Decoders turn this into a note that Exif was left out.
        raise InputError("Exif left out") from error
    exif.orientation(directory)
    exif.resolution(directory)
    exif.marked_profile(directory)
    return exif.capture_of(directory)


def _read_pairs(path: Path) -> object:
    pairs = read_pairs(path)
    for pair in pairs:  # The name becomes a file's name in the output folder.
        assert Path(pair.name).name == pair.name, pair.name
        assert pair.name not in ("", ".", ".."), pair.name
    return pairs


def _pictures(folder: Path) -> dict[str, bytes]:
    rng = np.random.default_rng(0)
    codes = rng.integers(0, 256, (SIZE[1], SIZE[0], 3), dtype=np.uint8)
    place = folder / "sound"
    place.mkdir()
    plain = {"photometric": "rgb"}
    tifffile.imwrite(place / "plain.tif", codes, **plain)
    tifffile.imwrite(place / "deep.tif", codes.astype(np.uint16) * 257, **plain)
    tifffile.imwrite(place / "float.tif", (codes / 255).astype(np.float32), **plain)
    tifffile.imwrite(place / "strips.tif", codes, compression="zlib", rowsperstrip=8, **plain)
    tifffile.imwrite(
        place / "tiles.tif", codes, compression="lzw", predictor=True, tile=(16, 16), **plain
    )
    tifffile.imwrite(place / "large.tif", codes, bigtiff=True, **plain)
    frame = Frame(
        np.full((SIZE[1], SIZE[0], 3), 0.2, np.float32),
        embedded=Embedded(exif=ifd.dump_block(DIRECTORY)),
    )
    for name in ("ours.tif", "ours.png", "ours.jpg"):
        write_picture(place / name, frame.pixels, like=frame)
    image = Image.fromarray(codes)
    image.save(place / "plain.png", icc_profile=profiles.wide())
    Image.fromarray(codes[..., 0]).save(place / "grey.png")
    tifffile.imwrite(place / "grey.tif", codes[..., 0], photometric="minisblack")
    image.save(place / "plain.jpg", icc_profile=profiles.wide(), quality=90)
    image.save(place / "steps.jpg", quality=90, progressive=True)
    return {path.name: path.read_bytes() for path in sorted(place.iterdir())}


_WORDS = (
    b'null true false NaN -Infinity 1e999 -1 0 18446744073709551616 0.1 [] {} [[[[ ]]]] "" '
    b'"../../x" "/etc/x" "\\u0000" \'\' "\\ud800" [1,2] {"a":1} inf nan 1979-05-27 , : = # \n'
).split(b" ")
_EXTREMES = (0, 1, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)


def damage(
    data: bytes, others: tuple[bytes, ...], rng: np.random.Generator, *, text: bool
) -> bytes:
    """Return data after one to four random injuries, half of the time one."""
    broken = bytearray(data)
    for _ in range(rng.choice([1, 1, 1, 2, 3, 4])):
        if not broken:
            break
        # Half of the injuries go where headers stand.
        reach = len(broken) if rng.uniform() < 0.5 else min(len(broken), 400)
        at = int(rng.integers(0, reach))
        what = 6 if text and rng.uniform() < 0.7 else int(rng.integers(0, 6))
        if what == 0:
            broken[at] = rng.integers(0, 256)
        elif what == 1:
            broken[at] ^= 1 << int(rng.integers(0, 8))
        elif what == 2:
            del broken[at : at + int(rng.integers(1, 40))]
        elif what == 3:
            other = others[int(rng.integers(len(others)))]
            start = int(rng.integers(0, len(other)))
            broken[at : at + int(rng.integers(0, 40))] = other[start : start + 40]
        elif what == 4:
            width = int(rng.choice([2, 4, 8]))
            order = "little" if rng.uniform() < 0.5 else "big"
            value = int(rng.choice(_EXTREMES)) % (1 << (8 * width))
            broken[at : at + width] = value.to_bytes(width, order)
        elif what == 5:
            del broken[int(rng.integers(0, len(broken))) :]
        else:
            _change_word(broken, at, rng)
    if bytes(broken[:4]) == b"\x89PNG" and rng.uniform() < 0.7:
        return _checksums_mended(broken)
    return bytes(broken)


def _change_word(broken: bytearray, at: int, rng: np.random.Generator) -> None:
    """Put a word of another kind at a place, or mistype a digit: that may still be read."""
    digits = [k for k, code in enumerate(broken) if code in b"0123456789"]
    if digits and rng.uniform() < 0.3:
        broken[int(rng.choice(digits))] = b"0123456789"[int(rng.integers(10))]
        return
    start, end = _token(broken, at)
    broken[start:end] = _WORDS[int(rng.integers(len(_WORDS)))]


def _checksums_mended(png: bytearray) -> bytes:
    """Return a PNG whose chunks carry right checksums, or damage would never get past them."""
    at = 8
    while at + 12 <= len(png):
        end = at + 8 + int.from_bytes(png[at : at + 4], "big")
        if end + 4 > len(png):
            break
        png[end : end + 4] = zlib.crc32(png[at + 4 : end]).to_bytes(4, "big")
        at = end + 4
    return bytes(png)


def _token(data: bytearray, at: int) -> tuple[int, int]:
    """Return where the word around a place begins and ends."""
    marks = b" \t\n,:=[]{}"
    start = end = at
    while start > 0 and data[start - 1] not in marks:
        start -= 1
    while end < len(data) and data[end] not in marks:
        end += 1
    return start, end


def refusal(read: Callable[[], object]) -> str | None:
    """Return the sentence with which reading was refused; None if it was not."""
    try:
        read()
    except InputError as error:
        return str(error)
    return None


@dataclass
class Tally:
    """What became of the damaged files of each kind, and the worst that was seen."""

    outcomes: Counter[tuple[str, str]]
    slowest_s: float = 0.0
    most_of_allowed: float = 0.0


def survive(all_kinds: Iterable[Kind], count: int, seed: int, folder: Path) -> Tally:
    """Read `count` damaged files, the kinds in turn.

    Raises
    ------
    AssertionError
        A reader raised what is not the package's own, took too long or too much memory, or wrote
        something.  The message names kind and seed, and the file stays in the folder.
    """
    turns = list(all_kinds)
    tally = Tally(Counter())
    tracemalloc.start()
    for number in range(count):
        kind = turns[number % len(turns)]
        rng = np.random.default_rng((seed, number))
        sound = kind.sound[int(rng.integers(len(kind.sound)))]
        data = damage(sound, kind.sound, rng, text=kind.text)
        path = folder / f"input{kind.suffix}"
        path.write_bytes(data)
        listing = sorted(p.name for p in folder.iterdir())
        here = f"{kind.name}, seed {seed}, input {number}"
        tracemalloc.reset_peak()
        before, began = tracemalloc.get_traced_memory()[0], time.perf_counter()
        try:
            message = refusal(lambda kind=kind, path=path: kind.read(path))
        except Exception as error:
            raise AssertionError(f"{here}: {type(error).__name__}: {error}; see {path}") from error
        assert message is None or len(message.splitlines()) == 1, f"{here}: {message}"
        tally.outcomes[kind.name, "read" if message is None else "refused"] += 1
        took = time.perf_counter() - began
        share = (tracemalloc.get_traced_memory()[1] - before) / allowed_bytes(len(data))
        assert took < LONGEST_S, f"{here}: took {took:.1f} s; see {path}"
        assert share < 1, f"{here}: took {share:.1f} times the memory allowed; see {path}"
        assert sorted(p.name for p in folder.iterdir()) == listing, f"{here}: wrote a file"
        tally.slowest_s = max(tally.slowest_s, took)
        tally.most_of_allowed = max(tally.most_of_allowed, share)
    tracemalloc.stop()
    return tally

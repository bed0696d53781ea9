"""What pairing looks at: the camera's record, a small grey version of every frame, its colours."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np

from blendkit.batch.hues import hues_of
from blendkit.batch.memory import Budget, available_bytes
from blendkit.errors import InputError
from blendkit.files.capture import read_capture
from blendkit.files.decode_png_jpeg import orientation_of
from blendkit.files.orient import as_upright
from blendkit.files.raw import is_raw
from blendkit.files.read import read_frame
from blendkit.filters.resample import reduce_by
from blendkit.frame import Capture, Float, luminance

if TYPE_CHECKING:
    from PIL.Image import Image as Picture

SMALL_PX = 240
"""Long side of the small versions, px."""

_JPEG = frozenset((".jpg", ".jpeg"))
_WHOLE_BYTES_PER_PX = 36
"""A TIFF, a PNG or a RAW is decoded whole, bytes: its codes, three float32 and room to convert."""


@dataclass(frozen=True, eq=False, slots=True)
class Shot:
    """A frame as pairing sees it.

    size: (width, height), upright, px.
    small: luminance, linear up to the camera's tone curve, float32, long side about SMALL_PX.
    hues: broad colours, as `hues_of` has them; None if they are not known.
    """

    path: Path
    capture: Capture
    size: tuple[int, int]
    small: Float
    hues: Float | None = None


@dataclass(frozen=True, slots=True)
class Unread:
    """A file that could not be read, and why."""

    path: Path
    reason: str


def read_shots(
    paths: Sequence[Path], *, told: Callable[[int], None] = lambda _: None
) -> tuple[list[Shot], list[Unread]]:
    """Read records and small versions; files that cannot be read are listed, not raised.

    told: called with the number of files read so far.
    """
    shots: list[Shot] = []
    unread: list[Unread] = []
    read = partial(_read, budget=Budget(available_bytes()))
    # Decoders release the interpreter's lock, so threads are enough.
    with ThreadPoolExecutor() as pool:
        try:
            for count, found in enumerate(pool.map(read, paths), start=1):
                if isinstance(found, Shot):
                    shots.append(found)
                else:
                    unread.append(found)
                told(count)
        except KeyboardInterrupt:
            pool.shutdown(cancel_futures=True)  # or all the others would be read before it ends
            raise
    return shots, unread


def _read(path: Path, *, budget: Budget) -> Shot | Unread:
    try:
        capture, size = read_capture(path)
        whole = 0 if path.suffix.lower() in _JPEG else _WHOLE_BYTES_PER_PX * size[0] * size[1]
        with budget.of(whole):
            pixels = small_version(path, size)
        return Shot(path, capture, size, luminance(pixels), hues_of(pixels))
    except InputError as error:
        return Unread(path, str(error))


def small_version(path: Path, size: tuple[int, int]) -> Float:
    """Return a frame at about SMALL_PX, linear light, float32 (height, width, 3).

    size: (width, height) of the frame, upright, px.  Frames of one size have small versions of one,
    although a JPEG and a RAW's preview are decoded at other scales than a TIFF.

    Raises
    ------
    InputError : the file is damaged.
    """
    factor = max(1, round(max(size) / SMALL_PX))
    if path.suffix.lower() in _JPEG:
        light = _jpeg(path)
    elif is_raw(path):
        light = _raw(path)
    else:
        light = read_frame(path).pixels
    if (light.shape[1], light.shape[0]) == size:
        return reduce_by(light, factor)
    small = (-(-size[0] // factor), -(-size[1] // factor))
    return np.asarray(cv2.resize(light, small, interpolation=cv2.INTER_AREA), np.float32)


def _jpeg(path: Path) -> Float:
    """Return a JPEG, decoded at an eighth to the whole of its size."""
    from PIL import Image  # noqa: PLC0415 - only JPEG needs it

    try:
        with Image.open(path) as picture:
            return _upright(picture)
    except (OSError, ValueError, SyntaxError) as error:
        raise InputError(
            f"{path.name}: is cut short or damaged; copy or export it again"
        ) from error


def _raw(path: Path) -> Float:
    """Return the preview in a RAW, or the RAW itself where it has none."""
    import io  # noqa: PLC0415 - only RAW needs it

    import rawpy  # noqa: PLC0415 - an extra
    from PIL import Image  # noqa: PLC0415

    try:
        with rawpy.imread(str(path)) as opened:
            preview = opened.extract_thumb()
        with Image.open(io.BytesIO(bytes(preview.data))) as picture:
            return _upright(picture)
    except (rawpy.LibRawError, OSError, ValueError, TypeError):
        return read_frame(path).pixels


def _upright(picture: "Picture") -> Float:
    """Decode a JPEG small, turn it as its Exif says, and undo its encoding, nearly."""
    picture.draft("RGB", (2 * SMALL_PX, 2 * SMALL_PX))
    upright = as_upright(np.asarray(picture.convert("RGB")), orientation_of(picture))
    # Power 2.2 is near enough to any encoding's curve for comparing scenes.
    return np.square(np.ascontiguousarray(upright, np.float32) / 255) ** np.float32(1.1)

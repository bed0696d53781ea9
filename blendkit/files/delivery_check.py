"""Whether a delivered file is what was meant: it is read back before it takes its place."""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendkit.errors import InputError, OutputError
from blendkit.files.encode_tiff import Attached
from blendkit.files.read import open_picture

_DPI_ROUNDING = 0.51  # JPEG stores whole dots per inch
_JPEG_LOSS = 0.15  # mean difference that even a poor quality stays below, of the full scale


def read_back(
    path: Path,
    name: str,
    codes: NDArray[Any],
    attached: Attached,
    *,
    size: tuple[int, int],
    exact: bool,
) -> None:
    """Raise OutputError unless a file decodes to what was written into it.

    Parameters
    ----------
    path : the file, perhaps under a temporary name.
    name : how messages call it.
    codes : values that were written, (height, width, 3).
    attached : profile and resolution that were written.
    size : (width, height) px that the file is to have.
    exact : whether every value must be the same, as in TIFF.
    """
    try:
        found = open_picture(path)
        back = np.empty_like(codes)
        for top, left, _, part in found.blocks():
            back[top : top + part.shape[0], left : left + part.shape[1]] = part
    except (InputError, ValueError) as error:
        raise OutputError(f"{name}: does not read back ({error}); write it again") from error
    across, _ = found.resolution_dpi or (0.0, 0.0)
    wrong = {
        "size": not found.size == size == codes.shape[1::-1],
        "colour profile": found.icc_profile != attached.profile,
        "resolution": abs(across - attached.resolution_dpi[0]) > _DPI_ROUNDING,
        "picture": _difference(back, codes) > (0.0 if exact else _JPEG_LOSS),
    }
    if any(wrong.values()):
        listed = ", ".join(what for what, is_wrong in wrong.items() if is_wrong)
        raise OutputError(f"{name}: reads back with another {listed}; check the disk and try again")


def _difference(first: NDArray[Any], second: NDArray[Any]) -> float:
    """Return the mean difference, of the full scale."""
    apart = np.abs(first.astype(np.int32) - second)
    return float(apart.mean()) / float(np.iinfo(second.dtype).max)

"""The layers of a merge, for further work by hand: one TIFF of named pages, or separate files.

Any program that reads TIFF page by page can take them up; no private format is involved.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendkit.errors import InputError
from blendkit.files import encode, profiles
from blendkit.files.atomic import atomic
from blendkit.files.encode_tiff import BIG_FROM_BYTES, Attached, add_tags, write_page
from blendkit.files.write import attachments
from blendkit.frame import Float, Frame, Label

PAGES = ("result", "foreground", "plate", "matte", "sources")
"""Names of the pages, in their order."""

_PAGE_NAME = 285  # TIFF 6.0, section 12


@dataclass(frozen=True, eq=False, slots=True)
class Layers:
    """What a merge was put together from, all of one size.

    result, foreground, plate: float32 (height, width, 3), linear; the foreground's colours are
    straight, not multiplied by the matte.
    matte: float32 (height, width), coverage 0 to 1.
    sources: uint8 (height, width), the source map.
    """

    result: Float
    foreground: Float
    plate: Float
    matte: Float
    sources: Label


def write_layers(
    path: Path | str,
    layers: Layers,
    *,
    like: Frame,
    bits: int = 16,
    second: Frame | None = None,
    inputs: Sequence[Path | str] = (),
    private: bool = False,
) -> None:
    """Write a TIFF of five pages, named as in PAGES (tag PageName).

    The first page is the result, so that a program that knows one page only shows that.

    Parameters
    ----------
    path : a .tif or .tiff file.
    layers : what goes in.
    like : the background frame, for profile, resolution and Exif.
    bits : 8 or 16 for the colours and the matte.
    second : the foreground frame, whose exposure is noted.
    inputs : files that must not be overwritten.
    private : leave out position, owner and serial numbers.
    """
    import tifffile  # noqa: PLC0415 - loaded when a TIFF is written

    target = Path(path)
    if target.suffix.lower() not in (".tif", ".tiff"):
        raise InputError(f"{target}: layers are pages of a .tif file; change the name")
    attached = attachments(like, layers.matte.shape[::-1], second=second, private=private)
    plain = Attached(profile=attached.profile, resolution_dpi=attached.resolution_dpi)
    # result 3, foreground 4, plate 3 and matte 1 channels, and a byte for the source map
    estimate = layers.matte.size * (11 * bits // 8 + 1)
    with atomic(target, inputs) as temporary:
        with tifffile.TiffWriter(
            temporary, bigtiff=estimate > BIG_FROM_BYTES, byteorder="<"
        ) as stream:
            for number, (name, codes) in enumerate(_pages(layers, plain, bits)):
                write_page(
                    stream,
                    codes,
                    plain if codes.ndim == 3 else Attached(resolution_dpi=plain.resolution_dpi),
                    subfiletype=2,  # one page of several
                    extratags=[
                        (_PAGE_NAME, "s", 0, name, True),
                        (297, "H", 2, (number, len(PAGES)), True),
                    ],
                )
        add_tags(temporary, attached)


def _pages(layers: Layers, attached: Attached, bits: int) -> Iterator[tuple[str, NDArray[Any]]]:
    profile = attached.profile or profiles.srgb()
    matte = encode.quantised(layers.matte, bits)
    yield "result", encode.encoded(layers.result, profile, bits)
    foreground = encode.encoded(layers.foreground, profile, bits)
    yield "foreground", np.dstack([foreground, matte])
    del foreground
    yield "plate", encode.encoded(layers.plate, profile, bits)
    yield "matte", matte
    yield "sources", np.asarray(layers.sources, np.uint8)

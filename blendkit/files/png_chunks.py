"""What a PNG says that Pillow does not look for until it decodes the pixels, or not at all.

References
----------
.. [1] W3C Portable Network Graphics (PNG) Specification, third edition: 5.3 (layout of chunks), 5.6
   (their order: eXIf and text may follow the pixels), 11.3.2.6 (cICP).
"""

import struct
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL.Image import Image

_TOLD = (b"eXIf", b"iTXt", b"tEXt", b"zTXt")
_COLOURS, _COLOURS_BYTES = b"cICP", 4
_SIGNATURE_BYTES, _CHECKSUM_BYTES = 8, 4


def complete(image: "Image") -> None:
    """Add to the `info` of a PNG that is open what stands behind its pixels, and "cicp".

    A file that is cut short or damaged there is taken as far as it goes: whoever decodes it says
    so.
    """
    from PIL.PngImagePlugin import PngImageFile  # noqa: PLC0415 - loaded when such a file is read

    if not isinstance(image, PngImageFile) or image.png is None or image.fp is None:
        return
    stream, file = image.png, image.fp
    before, pixels = file.tell(), image.tile[0].offset if image.tile else 0
    file.seek(_SIGNATURE_BYTES)
    try:
        while True:
            name, start, length = stream.read()
            if name == b"IEND":
                break
            if name == _COLOURS and length == _COLOURS_BYTES:
                image.info["cicp"] = tuple(file.read(length))
            elif name in _TOLD and start > pixels:
                stream.call(name, start, length)
            file.seek(start + length + _CHECKSUM_BYTES)
    except (struct.error, SyntaxError, ValueError, OSError):
        pass
    finally:
        file.seek(before)

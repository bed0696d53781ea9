"""What the camera recorded with a picture, and its size, without decoding its pixels."""

from pathlib import Path

from blendkit.errors import InputError
from blendkit.files import exif, raw
from blendkit.files.exif_raw import directory_of_raw
from blendkit.files.read import open_picture
from blendkit.frame import Capture


def read_capture(path: Path | str) -> tuple[Capture, tuple[int, int]]:
    """Return what the camera recorded with a picture, and its upright (width, height) in px.

    Raises
    ------
    InputError : one line that names the file and the next step.
    """
    source = Path(path)
    if raw.is_raw(source):
        return _of_raw(source)
    decoded = open_picture(source)
    width, height = decoded.size
    turned = decoded.orientation >= 5
    return exif.capture_of(decoded.directory), (height, width) if turned else (width, height)


def _of_raw(path: Path) -> tuple[Capture, tuple[int, int]]:
    if not raw.available():
        raise InputError(f"{path.name}: is a camera RAW; install blendkit[raw] to read it")
    import rawpy  # noqa: PLC0415 - an extra

    try:
        with rawpy.imread(str(path)) as opened:
            width, height, flip = opened.sizes.width, opened.sizes.height, opened.sizes.flip
    except (rawpy.LibRawError, OSError) as error:
        raise InputError(f"{path}: cannot be read as a camera RAW; name a picture file") from error
    directory, _ = directory_of_raw(path)
    turned = flip & raw.TRANSPOSING
    return exif.capture_of(directory), (height, width) if turned else (width, height)

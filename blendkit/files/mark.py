"""The mark by which a picture of ours is known wherever it lies and whatever it is called.

A result notes in its XMP, in our own namespace, which frames it was made from; its preview, its
copies for the lab and its layers carry the same or say which layer they are.  Exif's Software would
not do: the simulator writes frames too.  A copy says besides what it is a copy of; of what
no merge made it says that alone.
"""

from pathlib import Path

from blendkit.errors import InputError
from blendkit.files import decode_tiff, raw, xmp
from blendkit.files.read import open_picture

_TIFF = (".tif", ".tiff")


def is_marked(path: Path) -> bool:
    """Return whether a picture carries the note of a merge; False for what cannot be read."""
    return bool(note_of(path).keys() - {xmp.COPY_OF})


def note_of(path: Path) -> dict[str, str]:
    """Return our properties of a picture, by name; none for what cannot be read."""
    if raw.is_raw(path):  # nothing of ours is one, and opening it takes long
        return {}
    try:
        if path.suffix.lower() in _TIFF:  # a foreground with its alpha is marked and no frame
            packet = decode_tiff.xmp_of(path)
        else:
            packet = open_picture(path).xmp
        return xmp.properties_of(packet)
    except (InputError, OSError):
        return {}

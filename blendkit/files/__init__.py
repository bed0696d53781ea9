"""Files: pictures in and out, colour profiles, Exif, and replacement that is whole or not at all.

The only floor besides the programs' and the sidecar that touches the disk.
"""

from blendkit.files.atomic import atomic, atomic_set, check_output, explain
from blendkit.files.layers import Layers, write_layers
from blendkit.files.masks import read_labels, read_mask
from blendkit.files.raw_beside import as_the_pair, prefer_raws
from blendkit.files.read import read_frame
from blendkit.files.write import (
    check_labels,
    depth_of,
    write_grey,
    write_labels,
    write_picture,
    write_rgba,
)

__all__ = [
    "Layers",
    "as_the_pair",
    "atomic",
    "atomic_set",
    "check_labels",
    "check_output",
    "depth_of",
    "explain",
    "prefer_raws",
    "read_frame",
    "read_labels",
    "read_mask",
    "write_grey",
    "write_labels",
    "write_layers",
    "write_picture",
    "write_rgba",
]

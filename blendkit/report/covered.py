"""What both frames of a finished result reach, as its report tells."""

from pathlib import Path

import numpy as np

from blendkit.alignment.warp import covered_box
from blendkit.errors import InputError
from blendkit.files.capture import read_capture
from blendkit.files.documents import read_json
from blendkit.files.print_size import Box
from blendkit.report.bundle import target_paths

_CURE = "merge again, or deliver without trim"


def covered_beside(result: Path) -> Box | None:
    """Return the box that both frames of a result reach: (x, y, width, height) px of the result.

    None if there is none.

    Raises
    ------
    InputError : the report beside the result is missing, does not say it, or is of a picture of
        another size, as where the result was cropped since.
    """
    report = target_paths(result)["report"]
    document = read_json(report, what="a report", cure=_CURE)
    try:
        matrix = np.asarray(document["alignment"]["matrix"], np.float64)
        size = int(document["output"]["width"]), int(document["output"]["height"])
        box = covered_box(matrix.reshape(3, 3), size)
    except (KeyError, TypeError, ValueError, np.linalg.LinAlgError) as error:
        raise InputError(f"{report}: does not say what both frames reach; {_CURE}") from error
    own = read_capture(result)[1]
    if own != size:
        raise InputError(
            f"{report}: is of a picture of {size[0]} x {size[1]} px and {result.name} has "
            f"{own[0]} x {own[1]}; deliver without trim"
        )
    return box

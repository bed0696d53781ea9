"""What the third look is trained on: scenes explained by the first two, with the plate so far.

python tests/bench/matte_training/plates.py SCENES PLATES
"""

from dataclasses import fields

import numpy as np
from testimonies import SETTINGS, command, prepared

from blendkit.blending.sketch import draw_sketch, reduced
from blendkit.frame import Float
from blendkit.hints import Hints
from blendkit.looks import Matted, seen_with_plate, weigh
from blendkit.masks.colors import foreground_color
from blendkit.masks.third_look import Seen, opened


def training_plate(scene: dict[str, Float], seed: int) -> dict[str, np.ndarray] | None:
    """Return what the third look sees of a scene, and the truth; None without foreground.

    scene: soft, sharp, matte and sitter as `scenes.training_pair` returns them.
    """
    pair = prepared(scene, seed)
    small = reduced(pair.laid)
    color = foreground_color(pair.laid.aligned, pair.found)
    sketch = draw_sketch(small, pair.found, color, SETTINGS.discs)
    if not sketch.groups:
        return None
    proposed = Matted(pair.found, color, sketch)
    hints = Hints(foreground_mask=pair.mask)
    weighed = weigh(pair.laid, small, proposed, pair.grain[1], hints, SETTINGS)
    if not weighed.matted.sketch.groups:
        return None
    seen = seen_with_plate(small, weighed, pair.found, SETTINGS.plate)
    parts = {f.name: getattr(seen, f.name).astype(np.float16) for f in fields(Seen)}
    open_ = opened(seen, pair.region)
    return parts | {"open": open_, "matte": pair.truth, "grain": np.float32(pair.grain[1])}


if __name__ == "__main__":
    command(training_plate, "Write what the third look sees of every scene to FOLDER.")()

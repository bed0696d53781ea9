"""Time and memory of reading and writing, by size.

Run: python tests/bench/files_speed.py [MEGAPIXELS ...]   (default 24)
"""

import resource
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from blendkit.files import profiles, read_frame, write_picture
from blendkit.files.deliver import deliver
from blendkit.frame import Embedded, Frame
from blendkit.settings import DeliverySettings


def timed(label: str, work: Callable[[], object]) -> None:
    start = time.perf_counter()
    work()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{label:36} {time.perf_counter() - start:7.2f} s   peak so far {peak:7.0f} MB")


def scene(megapixels: float) -> Frame:
    """Return slow waves with grain, as compressible as a photograph."""
    height = round((megapixels * 1e6 / 1.5) ** 0.5)
    width = round(height * 1.5)
    rng = np.random.default_rng(1)
    down = np.sin(np.linspace(0, 20, height, dtype=np.float32))[:, None, None]
    across = np.sin(np.linspace(0, 30, width, dtype=np.float32))[None, :, None]
    pixels = 0.3 + 0.1 * down + 0.1 * across + np.zeros((1, 1, 3), np.float32)
    pixels += 0.01 * rng.standard_normal(pixels.shape, dtype=np.float32)
    return Frame(pixels, embedded=Embedded(profiles.srgb()))


def measure(frame: Frame, folder: Path) -> None:
    """Write, read and deliver one frame."""
    other = Frame(frame.pixels[:1, :1], embedded=Embedded(profiles.wide()))
    lab = DeliverySettings(print_width_cm=30, print_height_cm=20, fit="crop", profile="oprgb")
    tiff, jpeg, png = (folder / f"b.{kind}" for kind in ("tif", "jpg", "png"))
    for path in (tiff, jpeg, png):
        timed(f"write {path.suffix}", partial(write_picture, path, frame.pixels, like=frame))
    for path in (tiff, jpeg, png):
        timed(f"read {path.suffix}", partial(read_frame, path))
    timed("read .tif into another profile", partial(read_frame, tiff, match=other))
    timed("deliver 30 x 20 cm, 300 dpi, opRGB", partial(deliver, tiff, lab))


def main() -> None:
    for megapixels in [float(word) for word in sys.argv[1:]] or [24.0]:
        frame = scene(megapixels)
        print(f"{frame.size[0]} x {frame.size[1]} px, frame {frame.pixels.nbytes / 1e6:.0f} MB")
        with tempfile.TemporaryDirectory() as folder:
            measure(frame, Path(folder))


if __name__ == "__main__":
    main()

"""Photographs as ground and texture of training scenes: scikit-image's, and a folder's.

What a camera saw has edges, depths and textures that no painter of ours has.  The folder is any
folder of photographs; which ones the shipped network saw stands in this folder's README.md.
"""

from functools import cache
from pathlib import Path

import cv2
import numpy as np
from skimage import data

from blendkit.frame import Float

_NAMES = ("chelsea", "coffee", "rocket", "brick", "grass", "gravel", "retina", "moon", "coins")
_LONG_SIDE_PX = 2200
_TEXTURE_PX = 12.0


class Photographs:
    """A stock of photographs, linear light."""

    def __init__(self, folder: Path | None = None) -> None:
        files = [] if folder is None else sorted(p for p in folder.iterdir() if p.is_file())
        self._stock: list[str | Path] = [*files] if files else [*_NAMES]
        self.own = bool(files)

    def crop(self, shape: tuple[int, int], rng: np.random.Generator) -> Float:
        """Return a part of some photograph, float32 (height, width, 3), 0 to 1, linear.

        Nothing is enlarged that need not be, so that what looks sharp is sharp.
        """
        chosen = self._stock[int(rng.integers(len(self._stock)))]
        codes = _loaded(chosen)
        least = max(shape[0] / codes.shape[0], shape[1] / codes.shape[1])
        scale = float(np.exp(rng.uniform(np.log(least), np.log(max(least, 1.0)))))
        size = [max(round(n * scale), m) for n, m in zip(codes.shape[:2], shape, strict=True)]
        method = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        codes = cv2.resize(codes, (size[1], size[0]), interpolation=method)
        top, left = (int(rng.integers(0, n - m + 1)) for n, m in zip(size, shape, strict=True))
        part = codes[top : top + shape[0], left : left + shape[1]]
        part = part[:, ::-1] if rng.uniform() < 0.5 else part
        return np.asarray(np.clip(part / 255, 0, 1) ** rng.uniform(1.8, 2.6), np.float32)

    def texture(self, shape: tuple[int, int], rng: np.random.Generator) -> Float:
        """Return fine texture of a photograph: logarithm of light, zero mean, unit deviation."""
        light = np.log(self.crop(shape, rng).mean(axis=2) + 0.02)
        fine = light - cv2.GaussianBlur(light, (0, 0), _TEXTURE_PX)
        return np.asarray(np.clip(fine / (fine.std() + 1e-6), -4, 4), np.float32)


@cache
def _loaded(chosen: str | Path) -> Float:
    """Return codes 0 to 255, float32 (height, width, 3)."""
    if isinstance(chosen, Path):
        bgr = cv2.imread(str(chosen), cv2.IMREAD_COLOR)
        codes = np.asarray(bgr, np.float32)[..., ::-1]
    else:
        grey_or_rgb = np.asarray(getattr(data, chosen)(), np.float32)
        codes = np.dstack([grey_or_rgb] * 3) if grey_or_rgb.ndim == 2 else grey_or_rgb[..., :3]
    scale = min(_LONG_SIDE_PX / max(codes.shape), 1.0)
    return np.ascontiguousarray(
        cv2.resize(codes, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.float32
    )

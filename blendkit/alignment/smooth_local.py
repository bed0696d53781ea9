"""A smooth difference of light over the picture that no lens makes: a cloud's shadow, a lamp."""

from dataclasses import dataclass

import numpy as np

from blendkit.alignment.cells import Cells, Places, places_in
from blendkit.alignment.robust_fit import reweighted_fit
from blendkit.frame import Float

_RIDGE = 1e-4


@dataclass(frozen=True, slots=True)
class LocalLight:
    """coefficients: of `local_terms`, EV; range_ev: largest less smallest over the frame."""

    coefficients: tuple[float, ...]
    range_ev: float


def fit_local(cells: Cells, residual: Float) -> LocalLight:
    """Fit what gain and fall-off leave, (h, w, 3) in EV, by a smooth surface."""
    terms = local_terms(cells.shape, cells.places)
    values = np.average(residual, axis=2, weights=np.maximum(cells.weight, 1e-12))
    rows = np.column_stack([terms.reshape(-1, terms.shape[2]), np.ones(values.size)])
    fitted, _ = reweighted_fit(
        rows, values.reshape(-1), cells.weight.mean(axis=2).reshape(-1), ridge=_RIDGE
    )
    surface = terms @ fitted[:-1]
    return LocalLight(tuple(float(c) for c in fitted[:-1]), float(np.ptp(surface)))


def local_terms(shape: tuple[int, ...], places: Places | None = None) -> Float:
    """Return x, y, x y, x^2 - y^2 and the cubics, x and y from -1 to 1; (height, width, 8).

    shape: of the whole picture.  places: rows and columns wanted, px; every px if left out.
    """
    rows, columns = places or places_in((slice(0, shape[0]), slice(0, shape[1])))
    across = (2 * at / max(n - 1, 1) - 1 for at, n in zip((rows, columns), shape, strict=False))
    y, x = np.meshgrid(*across, indexing="ij")
    terms = [x, y, x * y, x**2 - y**2, x**3, x**2 * y, x * y**2, y**3]
    return np.stack(terms, axis=-1).astype(np.float32)

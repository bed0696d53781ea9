"""How close a merge came to the truth, region by region: a whole-frame mean hides the halo."""

import numpy as np
from skimage.metrics import structural_similarity

from blendkit.frame import Bool, Float, Matrix
from blendkit.simulate.pair import Truth

HALO_VEIL = 0.03
HALO_MATTE = 0.02


def halo(truth: Truth) -> Bool:
    """Return where the blurred foreground veils px that the sharp foreground leaves free."""
    return np.asarray((truth.veil_coverage > HALO_VEIL) & (truth.matte < HALO_MATTE))


def regions(truth: Truth) -> dict[str, Bool]:
    """Return the regions that are judged apart, each bool (height, width).

    core: full foreground; edge: partly covered; halo: see there; clear: no foreground within its
    blur; sitter: the sitter where nothing covers her; whole: everything.
    """
    core = truth.matte > 0.95
    free = truth.matte < HALO_MATTE
    return {
        "whole": np.ones_like(core),
        "core": core,
        "edge": ~core & ~free,
        "halo": halo(truth),
        "clear": (truth.veil_coverage < 1e-4) & (truth.matte < 1e-4),
        "sitter": (truth.sitter > 0.95) & free,
    }


def psnr(result: Float, wanted: Float, *, region: Bool | None = None) -> float:
    """Return the peak signal-to-noise ratio in dB, peak 1, of two pictures of one encoding.

    Both are clipped to 0..1 first, as a file would be.  nan for an empty region.

    >>> round(psnr(np.full((2, 2, 3), 0.5), np.full((2, 2, 3), 0.51)), 1)
    40.0
    """
    square = (np.clip(result, 0, 1).astype(np.float64) - np.clip(wanted, 0, 1)) ** 2
    chosen = square if region is None else square[region]
    if chosen.size == 0:
        return float("nan")
    return float(-10 * np.log10(max(float(chosen.mean()), 1e-20)))


def ssim(result: Float, wanted: Float, *, region: Bool | None = None) -> float:
    """Return the structural similarity (Wang et al. 2004; Gaussian 1.5, data range 1).

    With a region its map is averaged there.
    """
    _, similar = structural_similarity(
        np.clip(result, 0, 1),
        np.clip(wanted, 0, 1),
        data_range=1.0,
        channel_axis=2,
        gaussian_weights=True,
        sigma=1.5,
        use_sample_covariance=False,
        full=True,
    )
    return float(similar.mean() if region is None else similar[region].mean())


def grid_rms_px(warp: Matrix, wanted: Matrix, size: tuple[int, int], *, count: int = 9) -> float:
    """Return the RMS distance in px between two warps over an even grid of count x count points.

    >>> moved = np.array([[1, 0, 3], [0, 1, 4], [0, 0, 1.0]])
    >>> grid_rms_px(moved, np.eye(3), (1200, 800))
    5.0
    """
    x, y = np.meshgrid(np.linspace(0, size[0] - 1, count), np.linspace(0, size[1] - 1, count))
    points = np.stack([x.ravel(), y.ravel(), np.ones(count**2)])
    found, true = warp @ points, wanted @ points
    apart = found[:2] / found[2] - true[:2] / true[2]
    return float(np.sqrt((apart**2).sum(axis=0).mean()))


def scores(result: Float, truth: Truth) -> dict[str, float]:
    """Return the PSNR of every region against the wanted composite, in linear light."""
    wanted = truth.composite
    return {name: psnr(result, wanted, region=part) for name, part in regions(truth).items()}

"""A second look at what was proposed as foreground, with what the background frame says of it.

The first look judges by the picture: a bough is sharp, dark, in front of things.  A trunk behind
that looks just so is told from it by its veil alone.  Of that `blending.proof` gives a testimony,
which is faint where the boughs' disc is nearly the background's, and blind where nothing lies
behind that a veil could change.  How far to believe it was learnt from simulated pairs: a network
weighs testimony, proposal and picture, and says how likely each place stands in front.

Training script, seeds and held-out figures: tests/bench/matte_training.
"""

import cv2
import numpy as np

from blendkit.filters.bands import gaussian
from blendkit.filters.pieces import pieces, share_of_pieces
from blendkit.filters.resample import reduce_by
from blendkit.frame import Float, luminance
from blendkit.masks.evidence import exposure_scale, grain_plane
from blendkit.masks.network import network_matte, run_network

PLANES = 22
"""sqrt light of foreground frame (3) and background frame (3), matte, testimony: speaks, heard;
the piece's share, coverage, ratio, what both models leave; whether painted, grain, fine and less
fine detail of the foreground frame, what the testimony leans to, a first look at small size; the
disc that the place would choose by itself, and its lead."""
MATTE = 6
"""The plane of the matte."""
_SHARP, _SOFT = "veil_net.onnx", "soft_veil_net.onnx"
_SMALL = 4


def second_look(
    background: Float,
    aligned: Float,
    alpha: Float,
    said: tuple[Float, ...],
    grain: float,
    *,
    painted: bool,
    soft: bool = False,
) -> Float:
    """Return how likely each place of a proposed matte stands in front.

    Parameters
    ----------
    background, aligned : ndarray
        Both frames on one grid in one light, float32 (height, width, 3), linear, some 1200 px.
    alpha : ndarray
        The proposed matte at that size, float32 (height, width).
    said : tuple of ndarray
        The testimony: speaks, heard, coverage, ratio, near_left, far_left, own_disc, lead of
        `blending.proof`, float32, any scale.
    grain : float
        Noise of `aligned` at middle grey, linear standard deviation.
    painted : bool
        Whether the matte was sought in a mask that somebody painted.
    soft : bool
        Whether the foreground is soft in its own frame, as two frames with one focus leave it.
        Such pairs have weights of their own.

    Returns
    -------
    ndarray
        float32, 0 to 1, at half the size.
    """
    planes = second_planes(background, aligned, alpha, said, grain, painted=painted)
    return np.asarray(run_network(_SOFT if soft else _SHARP, planes)[0], np.float32)


def second_planes(
    background: Float,
    aligned: Float,
    alpha: Float,
    said: tuple[Float, ...],
    grain: float,
    *,
    painted: bool,
) -> Float:
    """Stack what the network looks at, float32 (PLANES, height / 2, width / 2).

    Parameters as for `second_look`.
    """
    scale = exposure_scale(background)
    matte = reduce_by(alpha, 2)
    size = (matte.shape[1], matte.shape[0])
    speaks, heard, coverage, ratio, near_left, far_left, own_disc, lead = (
        cv2.resize(part, size, interpolation=cv2.INTER_LINEAR) for part in said
    )
    planes = np.empty((PLANES, *matte.shape), np.float32)
    for first, pixels in ((0, aligned), (3, background)):
        root = np.sqrt(np.clip(reduce_by(pixels, 2) * scale, 0, 4))
        planes[first : first + 3] = np.moveaxis(root, 2, 0) - 0.5
    planes[6] = matte
    planes[7], planes[8] = speaks, heard - 0.5
    planes[9] = 4 * (_by_piece(alpha, 0.5 + 0.5 * speaks * heard) - 0.5)
    planes[10], planes[11] = coverage, ratio - 0.5
    planes[12], planes[13] = np.clip(4 * near_left, -1, 1), np.clip(4 * far_left, -1, 1)
    planes[14] = float(painted)
    planes[15] = grain_plane(grain, scale)
    planes[16], planes[17] = _detail(aligned, scale)
    planes[18] = speaks * heard
    planes[19] = _small_look(background, aligned, grain, size)
    planes[20], planes[21] = 0.5 * own_disc, lead
    return planes


def _detail(pixels: Float, scale: float) -> tuple[Float, Float]:
    """Return the strength of fine and of less fine detail, at half the size, 0 to 2."""
    root = np.sqrt(np.clip(luminance(pixels) * np.float32(scale), 0, 4))
    fine, coarse = gaussian(root, 0.8), gaussian(root, 2.0)
    return _strength(root - fine), _strength(fine - coarse)


def _strength(band: Float) -> Float:
    return np.asarray(np.minimum(6 * np.sqrt(reduce_by(np.square(band), 2)), 2), np.float32)


def _small_look(background: Float, aligned: Float, grain: float, size: tuple[int, int]) -> Float:
    """Return what the first look finds at some 300 px, nothing painted: it sees veils whole."""
    one, other = (reduce_by(frame, _SMALL) for frame in (background, aligned))
    found = network_matte(one, other, np.ones(one.shape[:2], np.float32), grain / _SMALL)
    return np.asarray(cv2.resize(found, size, interpolation=cv2.INTER_LINEAR), np.float32)


def _by_piece(alpha: Float, share: Float) -> Float:
    """Return the share of each connected piece as a whole, at half the size of `alpha`."""
    count, labels = pieces(alpha)
    _, whole = share_of_pieces(alpha, labels, count, share, 2)
    whole[0] = 0.5
    return reduce_by(whole[labels], 2)

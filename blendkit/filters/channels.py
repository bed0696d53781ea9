"""Sums over a picture's channels, many times as fast as numpy's reduction of a short last axis."""

import cv2
import numpy as np

from blendkit.frame import Float


def channel_sum(values: Float) -> Float:
    """Return the sum over the last axis, float32 (height, width); values: (height, width, n).

    >>> channel_sum(np.array([[[1, 2, 4]]], np.float32))
    array([[7.]], dtype=float32)
    """
    weights = np.ones((1, values.shape[2]), np.float32)
    return np.asarray(cv2.transform(np.asarray(values, np.float32), weights), np.float32)


def channel_mean(values: Float) -> Float:
    """Return the mean over the last axis, float32 (height, width); values: (height, width, n)."""
    weights = np.full((1, values.shape[2]), 1 / values.shape[2], np.float32)
    return np.asarray(cv2.transform(np.asarray(values, np.float32), weights), np.float32)


def channel_max(values: Float) -> Float:
    """Return the largest of the last axis, float32 (height, width); values: (height, width, n).

    >>> channel_max(np.array([[[1, 5, 4]]], np.float32))
    array([[5.]], dtype=float32)
    """
    largest, *rest = cv2.split(np.asarray(values, np.float32))
    for channel in rest:
        largest = cv2.max(largest, channel)
    return np.asarray(largest, np.float32)

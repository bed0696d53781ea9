"""One exposure: optics, where the camera stands and what its frame suffers."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from blendkit.frame import Matrix
from blendkit.optics import blur_disc_mm, image_scale
from blendkit.simulate.scene import Layer

MAX_SAMPLES = 400
"""Aperture points unless a camera asks for more: discs of 130 px are then sampled every 5.6 px."""


@dataclass(frozen=True, slots=True)
class Camera:
    """A thin lens over a sensor.

    shift_mm: sideways movement (x, y) of the camera against the reference position; near layers
        move more than far ones.
    rotation_deg, scale, offset_px: how the picture lies on the sensor, about the frame's centre
        (counter-clockwise, magnification, then x and y in px).
    falloff_ev_corner: light lost in the corners; gain: exposure as a linear factor.
    shake_px, shake_angle_deg: a straight movement during the exposure.
    cat_eye: how far the front and the rear rim of the lens, from two sides, cover the pupil at the
        corners, 0 to 0.7 pupils each; equal ones leave its middle where it is.
    samples: points of the aperture; None chooses by the largest disc.
    blur_disc_px: disc diameters by layer name that override the thin lens.
    """

    focal_length_mm: float = 135.0
    f_number: float = 2.8
    focus_distance_m: float = 6.0
    pixel_pitch_mm: float = 0.03
    shift_mm: tuple[float, float] = (0.0, 0.0)
    rotation_deg: float = 0.0
    scale: float = 1.0
    offset_px: tuple[float, float] = (0.0, 0.0)
    falloff_ev_corner: float = 0.0
    gain: float | tuple[float, float, float] = 1.0
    iso: float = 100.0
    shake_px: float = 0.0
    shake_angle_deg: float = 0.0
    cat_eye: tuple[float, float] = (0.0, 0.0)
    samples: int | None = None
    blur_disc_px: Mapping[str, float] = field(default_factory=dict)

    def thin_lens_disc_px(self, distance_m: float) -> float:
        """Return the thin lens's disc diameter in px for something at a distance.

        >>> round(Camera(pixel_pitch_mm=0.006, f_number=16.0, focus_distance_m=5.0)
        ...       .thin_lens_disc_px(2.5), 1)
        39.0
        """
        disc_mm = blur_disc_mm(
            distance_m,
            focal_length_mm=self.focal_length_mm,
            f_number=self.f_number,
            focus_distance_m=self.focus_distance_m,
        )
        return float(disc_mm) / self.pixel_pitch_mm

    def signed_disc_px(self, layer: Layer) -> float:
        """Return the disc of a layer: positive in front of the focus, negative behind it."""
        disc = self.blur_disc_px.get(layer.name)
        if disc is None:
            disc = self.thin_lens_disc_px(layer.distance_m)
        return disc if layer.distance_m <= self.focus_distance_m else -disc

    def parallax_px(self, distance_m: float) -> tuple[float, float]:
        """Return how far something at this distance moves on the sensor by shift_mm."""
        scale = image_scale(
            distance_m,
            focal_length_mm=self.focal_length_mm,
            focus_distance_m=self.focus_distance_m,
        )
        per_mm = -float(scale) / self.pixel_pitch_mm
        return self.shift_mm[0] * per_mm, self.shift_mm[1] * per_mm

    def grid(self, size: tuple[int, int]) -> Matrix:
        """Return rotation, scale and offset about the frame's centre as a 3x3 matrix."""
        centre = np.array([(size[0] - 1) / 2, (size[1] - 1) / 2])
        angle = np.deg2rad(self.rotation_deg)
        turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
        matrix = np.eye(3)
        matrix[:2, :2] = self.scale * turn
        matrix[:2, 2] = centre - matrix[:2, :2] @ centre + self.offset_px
        return matrix


def translation(x: float, y: float) -> Matrix:
    """Return a shift by (x, y) px as a 3x3 matrix."""
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])

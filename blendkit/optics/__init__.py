"""Thin lens, framing, exposure, diffraction: formulas only.

Every function takes scalars or arrays that broadcast, in the unit its argument's name ends with,
gives float64, and raises InputError for numbers that no lens can have.  f-numbers are used as they
are given: `exact_f_number` tells what an engraved one means.  Blur is always a disc diameter.
"""

from blendkit.optics.bracket import Series, focus_series, frames_needed
from blendkit.optics.confusion import (
    circle_of_confusion_mm,
    pixel_pitch_mm,
    print_circle_of_confusion_mm,
    share_of_height,
)
from blendkit.optics.depth import Depth, depth_of_field, focus_between_m, hyperfocal_m
from blendkit.optics.diffraction import airy_disc_mm, diffraction_f_number, effective_f_number
from blendkit.optics.exposure import (
    bellows_factor,
    exact_f_number,
    exact_shutter_s,
    exposure_value,
    illuminance_lx,
    loss_ev,
    luminance_cd_m2,
    marked_f_number_from,
    marked_shutter_s,
    shrinking_f_number,
    steps_between,
)
from blendkit.optics.framing import covered_m, field_of_view_deg, natural_falloff
from blendkit.optics.thin_lens import (
    blur_disc_mm,
    image_distance_mm,
    image_scale,
    magnification,
    object_distance_m,
    shift_px_per_mm,
)

__all__ = [
    "Depth",
    "Series",
    "airy_disc_mm",
    "bellows_factor",
    "blur_disc_mm",
    "circle_of_confusion_mm",
    "covered_m",
    "depth_of_field",
    "diffraction_f_number",
    "effective_f_number",
    "exact_f_number",
    "exact_shutter_s",
    "exposure_value",
    "field_of_view_deg",
    "focus_between_m",
    "focus_series",
    "frames_needed",
    "hyperfocal_m",
    "illuminance_lx",
    "image_distance_mm",
    "image_scale",
    "loss_ev",
    "luminance_cd_m2",
    "magnification",
    "marked_f_number_from",
    "marked_shutter_s",
    "natural_falloff",
    "object_distance_m",
    "pixel_pitch_mm",
    "print_circle_of_confusion_mm",
    "share_of_height",
    "shift_px_per_mm",
    "shrinking_f_number",
    "steps_between",
]

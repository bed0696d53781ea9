"""The thin lens: image scale, and how large a point out of focus becomes.

Distances are in metres from the lens (strictly: from its entrance pupil), focal lengths in mm.  A
lens that shortens its focal length as it focuses close is described by the focal length it really
has there, which is not the one engraved on it.

Source: the Gaussian lens equation 1/f = 1/d + 1/v, for example *Photography (Basic)*, NAVEDTRA
14209, US Navy 1993, chapter 1.
"""

import numpy as np
from numpy.typing import ArrayLike

from blendkit.optics.checks import MM_PER_M, Values, inverse_distance, positive


def magnification(focus_distance_m: ArrayLike, *, focal_length_mm: ArrayLike) -> Values:
    """Return image size over object size in the plane of focus, m = f / (s - f).

    Raises InputError for a focus distance inside the focal length.

    >>> round(float(magnification(4, focal_length_mm=135)), 5)
    0.03493
    """
    focal = positive("focal_length_mm", focal_length_mm)
    inverse = inverse_distance("focus_distance_m", focus_distance_m, focal)
    return np.asarray(focal * inverse / (1.0 - focal * inverse))


def image_distance_mm(focus_distance_m: ArrayLike, *, focal_length_mm: ArrayLike) -> Values:
    """Return the distance from the lens to the sensor in mm, v = f (1 + m).

    >>> float(image_distance_mm(50 * 0.0254, focal_length_mm=10 * 25.4) / 25.4)
    12.5
    """
    focal = positive("focal_length_mm", focal_length_mm)
    return np.asarray(focal * (1.0 + magnification(focus_distance_m, focal_length_mm=focal)))


def object_distance_m(magnification: ArrayLike, *, focal_length_mm: ArrayLike) -> Values:
    """Return the focus distance in m that gives a magnification, s = f (1 + 1/m).

    >>> round(float(object_distance_m(0.25, focal_length_mm=100)), 6)
    0.5
    """
    scale = positive("magnification", magnification)
    return np.asarray(positive("focal_length_mm", focal_length_mm) * (1 + 1 / scale) / MM_PER_M)


def image_scale(
    distance_m: ArrayLike, *, focal_length_mm: ArrayLike, focus_distance_m: ArrayLike
) -> Values:
    """Return mm on the sensor for each mm across at a distance, v / d, in focus or not.

    At the focus distance this is the magnification.
    """
    focal = positive("focal_length_mm", focal_length_mm)
    inverse = inverse_distance("distance_m", distance_m, focal)
    return np.asarray(image_distance_mm(focus_distance_m, focal_length_mm=focal) * inverse)


def blur_disc_mm(
    distance_m: ArrayLike,
    *,
    focal_length_mm: ArrayLike,
    f_number: ArrayLike,
    focus_distance_m: ArrayLike,
) -> Values:
    """Return the diameter in mm, on the sensor, of the blur disc of a point.

    c = (f/N) m |d - s| / d, written with reciprocal distances so that infinity is a number like
    any other.  The f-number is used as given: see `exact_f_number` for what an engraved one means.

    Parameters
    ----------
    distance_m, focal_length_mm, f_number, focus_distance_m : array_like
        Broadcast against each other; either distance may be infinite.

    Raises
    ------
    InputError
        A number that is not above 0, or a distance inside the focal length.

    Examples
    --------
    A bough at 2.5 m, 135 mm focused at 5 m: even f/16 leaves a quarter of a millimetre.

    >>> settings = {"focal_length_mm": 135, "focus_distance_m": 5}
    >>> blur_disc_mm(2.5, f_number=[2, 16], **settings).round(3)
    array([1.873, 0.234])
    """
    focal = positive("focal_length_mm", focal_length_mm)
    inverse = inverse_distance("distance_m", distance_m, focal)
    inverse_focus = inverse_distance("focus_distance_m", focus_distance_m, focal)
    aperture_mm = focal / positive("f_number", f_number)
    return np.asarray(
        aperture_mm * focal * np.abs(inverse - inverse_focus) / (1.0 - focal * inverse_focus)
    )


def shift_px_per_mm(
    near_m: ArrayLike,
    far_m: ArrayLike,
    *,
    focal_length_mm: ArrayLike,
    focus_distance_m: ArrayLike,
    pixel_pitch_mm: ArrayLike,
) -> Values:
    """Return how many px a near thing shifts against a far one per mm the camera moves sideways.

    v (1/near - 1/far) over the pixel pitch.
    """
    lens = {"focal_length_mm": focal_length_mm, "focus_distance_m": focus_distance_m}
    difference = image_scale(near_m, **lens) - image_scale(far_m, **lens)
    return np.asarray(difference / positive("pixel_pitch_mm", pixel_pitch_mm))

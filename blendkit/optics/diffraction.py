"""Diffraction: the Airy disc, and the f-number from which it is the larger blur.

Source: the first dark ring of the Airy pattern lies at 1.22 lambda N, so its diameter is
2.44 lambda N; close up, N is the effective f-number N (1 + m/P).
"""

import numpy as np
from numpy.typing import ArrayLike

from blendkit.optics.checks import Values, not_negative, positive

GREEN_NM = 546.0
"""The mercury line, the usual reference wavelength of lens data."""
LARGEST_F_NUMBER = 22.0
"""Up to which advice goes: where most lenses end (common practice), and beyond it diffraction takes
more than the smaller disc gives."""


def effective_f_number(
    f_number: ArrayLike, *, magnification: ArrayLike = 0.0, pupil: ArrayLike = 1.0
) -> Values:
    """Return the f-number that light and diffraction see close up, N (1 + m/P).

    pupil is the pupil magnification P: exit over entrance pupil, 1 if unknown, below 1 for
    telephoto lenses.
    """
    bellows = 1.0 + not_negative("magnification", magnification) / positive("pupil", pupil)
    return np.asarray(positive("f_number", f_number) * bellows)


def airy_disc_mm(
    f_number: ArrayLike,
    *,
    magnification: ArrayLike = 0.0,
    pupil: ArrayLike = 1.0,
    wavelength_nm: ArrayLike = GREEN_NM,
) -> Values:
    """Return the diameter of the Airy disc on the sensor in mm.

    >>> round(1000 * float(airy_disc_mm(16)), 1)
    21.3
    """
    effective = effective_f_number(f_number, magnification=magnification, pupil=pupil)
    return np.asarray(2.44e-6 * positive("wavelength_nm", wavelength_nm) * effective)


def diffraction_f_number(
    disc_mm: ArrayLike,
    *,
    magnification: ArrayLike = 0.0,
    pupil: ArrayLike = 1.0,
    wavelength_nm: ArrayLike = GREEN_NM,
) -> Values:
    """Return the f-number whose Airy disc is as large as the disc given.

    >>> round(float(diffraction_f_number(0.0288)), 1)
    21.6
    """
    one = airy_disc_mm(1.0, magnification=magnification, pupil=pupil, wavelength_nm=wavelength_nm)
    return np.asarray(positive("disc_mm", disc_mm) / one)

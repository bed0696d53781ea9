"""Which of two frames is the background frame.

Two apertures tell it by themselves.  At one aperture the frame whose far zone is sharper is the
background frame.  Blur grows with the difference of 1 / distance, which has no bound towards the
camera and ends at zero towards the horizon: whatever is focused near leaves everything behind it
soft, and by more than the near thing is soft in the other frame.  So the frame that holds less of
the picture sharp, in a band that large discs wipe out and small ones do not, is the one focused
near.  A dense foreground before an empty sky defeats that; then the user is asked.
"""

from dataclasses import dataclass
from math import log2

import numpy as np

from blendkit.errors import InputError
from blendkit.filters.bands import band_pass, gaussian, window_mean
from blendkit.filters.resample import reduce_by
from blendkit.frame import Float, Frame, luminance

_SAME_APERTURE_EV = 0.2
_WORKING_PX = 700
_BAND_SHARES = (0.0045, 0.012)
"""Sigmas of the band, of the long side: 3 and 8 px at the working size."""
_WINDOW_SHARE = 0.036
LEAST_SHARE = 0.18
"""Below it the user is asked; above it all of 54 simulated focus pairs were right."""
_STEEPNESS = 6.0
"""Certainty is a logistic of it times the share: 0.75 at the least share."""
_GIVE = "name them with --background FILE --foreground FILE"


@dataclass(frozen=True, slots=True)
class Roles:
    """Which frame is which.

    background : index of the background frame, 0 or 1.
    reason : a sentence.
    certainty : 0.5 (a toss) to 1.
    """

    background: int
    reason: str
    certainty: float


def decide_roles(a: Frame, b: Frame) -> Roles:
    """Tell the background frame from the foreground frame.

    Parameters
    ----------
    a, b : Frame
        Of one size, in linear light of one profile.

    Returns
    -------
    Roles

    Raises
    ------
    InputError
        Neither tags nor pixels tell; the sentence names the options that do.
    """
    return _by_f_number(a, b) or _by_focus(a, b)


def as_named(background: Frame, foreground: Frame) -> Roles:
    """Return the roles that somebody gave, with a doubt where the f-numbers say otherwise."""
    found = _by_f_number(background, foreground)
    if found is None or found.background == 0:
        return Roles(0, "as named", 1.0)
    return Roles(0, f"as named; check it, for {found.reason}", 0.5)


def _by_f_number(a: Frame, b: Frame) -> Roles | None:
    first, second = a.capture.f_number, b.capture.f_number
    if not first or not second or abs(2 * log2(first / second)) < _SAME_APERTURE_EV:
        return None
    index = int(second < first)
    wide, stopped = sorted((first, second))
    name = (a, b)[index].name
    return Roles(index, f"{name} is at f/{wide:g}, the other frame at f/{stopped:g}", 1.0)


def _by_focus(a: Frame, b: Frame) -> Roles:
    if not a.capture.f_number or not b.capture.f_number:
        silent = a.name if not a.capture.f_number else b.name
        tagged = _by_distance(a, b)
        if tagged is None:
            raise InputError(f"{silent}: records no f-number, so the roles are open; {_GIVE}")
        return tagged
    share = sharper_share(a, b)
    tagged, seen = _by_distance(a, b), _by_sharp_area(a, b, share)
    if tagged is None and abs(share) < LEAST_SHARE:
        raise InputError(
            f"{a.name} and {b.name}: neither f-numbers nor sharpness tell the background frame; "
            f"{_GIVE}"
        )
    if tagged is None or (seen.background == tagged.background):
        return tagged or seen
    if seen.certainty < 0.95:
        return tagged
    raise InputError(f"{a.name} and {b.name}: {tagged.reason}, but {seen.reason}; {_GIVE}")


def _by_distance(a: Frame, b: Frame) -> Roles | None:
    first, second = a.capture.focus_distance_m, b.capture.focus_distance_m
    if not first or not second or abs(first / second - 1) < 0.02:
        return None
    index = int(second > first)
    near, far = sorted((first, second))
    name = (a, b)[index].name
    reason = f"{name} is recorded as focused at {far:.3g} m, the other frame at {near:.3g} m"
    return Roles(index, reason, 0.97)


def _by_sharp_area(a: Frame, b: Frame, share: float) -> Roles:
    index = int(share < 0)
    reason = f"{(a, b)[index].name} holds more of the picture sharp, so it is focused farther"
    return Roles(index, reason, float(1 / (1 + np.exp(-_STEEPNESS * abs(share)))))


def sharper_share(a: Frame, b: Frame) -> float:
    """Return the share of the picture that a holds sharper, less that which b does, -1 to 1."""
    one, other = _band_energy(a), _band_energy(b)
    grain = np.percentile(one, 10) + np.percentile(other, 10) + 1e-7
    return float(np.tanh(np.log((one + grain) / (other + grain))).mean())


def _band_energy(frame: Frame) -> Float:
    """Return the local energy of the band, light evened out, at the working size."""
    light = luminance(reduce_by(frame.pixels, max(round(max(frame.size) / _WORKING_PX), 1)))
    long_side = max(light.shape)
    evened = light / (gaussian(light, long_side / 12) + 0.01)
    band = band_pass(np.asarray(evened, np.float32), *(long_side * s for s in _BAND_SHARES))
    return window_mean(np.square(band), 2 * round(_WINDOW_SHARE * long_side / 2) + 1)

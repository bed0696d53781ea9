"""Sentences about light that does not behave as two exposures of one scene should."""

import numpy as np

from blendkit.alignment import Light
from blendkit.frame import Capture

LOCAL_NOTE_EV = 0.2
_EXPOSURE_NOTE_EV = 0.5
_BALANCE_NOTE_EV = 0.15


def light_notes(light: Light, background: Capture, foreground: Capture | None) -> tuple[str, ...]:
    """Return what should be said about a fit, most important first.

    Examples
    --------
    >>> light = Light((0.3, 0.0, 0.0), (0.0, 0.0, 0.0), 0.01)
    >>> light_notes(light, Capture(), None)
    ('the white balance differs by 0.30 EV between the channels: it was matched',)
    """
    found = (
        _flash(background, foreground),
        _exposure(light, background, foreground),
        _local(light),
        _tone(light),
        _balance(light),
    )
    return tuple(note for note in found if note)


def expected_gain_ev(background: Capture, foreground: Capture) -> float | None:
    """Return the EV to add to the foreground frame by the recorded exposures; None if unknown.

    Examples
    --------
    >>> wide = Capture(f_number=4.0, exposure_time_s=1 / 100, iso=100)
    >>> expected_gain_ev(wide, Capture(f_number=8.0, exposure_time_s=1 / 100, iso=200))
    1.0
    """
    light = [
        frame.exposure_time_s * frame.iso / frame.f_number**2
        for frame in (background, foreground)
        if frame.exposure_time_s and frame.iso and frame.f_number
    ]
    return float(np.log2(light[0] / light[1])) if len(light) == 2 else None


def _flash(background: Capture, foreground: Capture | None) -> str:
    fired = (background.flash_fired, foreground.flash_fired if foreground else None)
    if None in fired or fired[0] == fired[1]:
        return ""
    which = "background" if fired[0] else "foreground"
    return f"flash fired in the {which} frame only: near things are lit differently in the two"


def _exposure(light: Light, background: Capture, foreground: Capture | None) -> str:
    expected = expected_gain_ev(background, foreground) if foreground else None
    measured = float(np.median(light.gain_ev))
    if expected is None or abs(measured - expected) <= _EXPOSURE_NOTE_EV:
        return ""
    return (
        f"the frames differ by {measured:+.1f} EV, their recorded exposures by {expected:+.1f} EV: "
        "the light changed, flash fired, or a tag is wrong"
    )


def _local(light: Light) -> str:
    if light.local_range_ev <= LOCAL_NOTE_EV:
        return ""
    done = "it was followed" if any(light.local_ev) else "it was left as it is"
    return (
        f"the light differs by up to {light.local_range_ev:.2f} EV over the picture, as from a "
        f"cloud or a lamp: {done}"
    )


def _tone(light: Light) -> str:
    if not light.curve.bends:
        return ""
    return "the frames were rendered with a tone curve: it was estimated from the pair"


def _balance(light: Light) -> str:
    apart = float(np.ptp(light.gain_ev))
    if apart <= _BALANCE_NOTE_EV:
        return ""
    return f"the white balance differs by {apart:.2f} EV between the channels: it was matched"

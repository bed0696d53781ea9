"""How loud a flag is: by what somebody sees who looks at the print.

Blur counts in multiples of the disc that is just visible at the print's size and viewing distance.
It is troublesome from about 1.7 and objectionable from about 2.3 times that (Atchison et al. 2005,
limits of 1.6-1.8 and 2.1-2.5 times noticeable blur).  A step between neighbours counts from a ratio
of 1.3 to 1.6 (Weber fractions of 0.28-0.56 for blur: Mather & Smith 2002, Perception 31(10)).
"""

from blendkit.midground import Severity
from blendkit.optics import print_circle_of_confusion_mm
from blendkit.settings import ViewingSettings

TROUBLESOME, OBJECTIONABLE = 1.7, 2.3
STEP_SEEN, STEP_PLAIN = 1.3, 1.6
_SENSOR_WIDTH_MM = 36.0
"""Of a sensor as large as the picture: only its shape matters, as discs are told in px."""


def just_visible_px(size: tuple[int, int], viewing: ViewingSettings) -> float:
    """Return the disc that is just visible on the print, px of a picture (width, height).

    Examples
    --------
    >>> round(just_visible_px((1200, 800), ViewingSettings()), 2)
    0.8
    >>> round(just_visible_px((1200, 600), ViewingSettings()), 2)  # cropped to fill the same print
    0.6
    """
    sensor_mm = (_SENSOR_WIDTH_MM, _SENSOR_WIDTH_MM * min(size) / max(size))
    disc_mm = print_circle_of_confusion_mm(
        sensor_mm,
        print_cm=(viewing.print_width_cm, viewing.print_height_cm),
        viewing_cm=viewing.viewing_cm,
    )
    return disc_mm * max(size) / _SENSOR_WIDTH_MM


def blur_severity(disc_px: float, visible_px: float) -> Severity:
    """Return how loud a disc is.

    >>> [blur_severity(disc, 1.0) for disc in (1.2, 1.8, 2.4)]
    ['note', 'warn', 'fail']
    """
    multiple = disc_px / visible_px
    return "fail" if multiple >= OBJECTIONABLE else "warn" if multiple >= TROUBLESOME else "note"


def step_severity(one_px: float, other_px: float, visible_px: float) -> Severity | None:
    """Return how loud a jump of blur is; None where nobody sees it.

    What is below the just visible disc looks equally sharp, so it counts as that disc.

    >>> step_severity(0.2, 0.9, 1.0), step_severity(1, 1.5, 1), step_severity(2, 8, 1)
    (None, 'note', 'fail')
    """
    small, large = sorted((max(one_px, visible_px), max(other_px, visible_px)))
    ratio = large / small
    if ratio < STEP_SEEN:
        return None
    if ratio < STEP_PLAIN or large < TROUBLESOME * visible_px:
        return "note"
    return "fail" if ratio >= OBJECTIONABLE and large >= OBJECTIONABLE * visible_px else "warn"

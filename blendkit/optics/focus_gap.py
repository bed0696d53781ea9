"""What recorded focus distances say: how far apart the foci of a pair lie, as a disc."""

from blendkit.frame import Capture
from blendkit.optics.checks import MM_PER_M
from blendkit.optics.recorded_sensor import px_per_mm
from blendkit.optics.thin_lens import blur_disc_mm

LEAST_GAP_SHARE = 1 / 300
"""Gap between recorded foci, as a disc in the foreground frame over the long side, from which they
are two: cameras record distances in coarse steps, and one step is less (from memory)."""


def recorded_gap_px(
    background: Capture, foreground: Capture, size: tuple[int, int]
) -> float | None:
    """Return the disc, px, by which the foreground frame spreads the background frame's focus.

    None unless the frames record what it takes, where the foreground frame was focused farther, or
    where a record cannot be, inside the focal length: nobody typed it, so it ends no merge.  The
    sensor is taken to be 36 x 24 mm unless an equivalent focal length is recorded.  size: of the
    picture that the disc is wanted in, (width, height) px.

    >>> one = Capture(f_number=4, focal_length_mm=135, focus_distance_m=12)
    >>> other = Capture(f_number=4, focal_length_mm=135, focus_distance_m=4)
    >>> round(recorded_gap_px(one, other, (1200, 800)), 1)
    26.2
    """
    near, far = foreground.focus_distance_m, background.focus_distance_m
    if not (near and far and foreground.f_number and foreground.focal_length_mm):
        return None
    if near > far or near * MM_PER_M <= foreground.focal_length_mm:
        return None
    disc_mm = blur_disc_mm(
        far,
        focal_length_mm=foreground.focal_length_mm,
        f_number=foreground.f_number,
        focus_distance_m=near,
    )
    return float(disc_mm) * px_per_mm(foreground, size)

"""One piece of ground to repair, and what a mode makes of it."""

from dataclasses import dataclass

import numpy as np

from blendkit.filters.bands import gaussian
from blendkit.frame import Bool, Float, Frame, Source
from blendkit.merge import Merged
from blendkit.midground import ResultBlur
from blendkit.midground.soft_ground import Ground, at_full_size, soft_between_sharp, soft_from_px


@dataclass(frozen=True, eq=False, slots=True)
class Job:
    """A piece of ground to repair: the merge and its frames, the ground and its soft part.

    soft: bool, the blur map's shape.  visible_px: the just visible disc, full px.
    scale: how many times larger the picture is that a repair is tried for at a smaller size.
    """

    merged: Merged
    background: Frame
    foreground: Frame
    bridges: tuple[Frame, ...]
    blur: ResultBlur
    ground: Ground
    soft: Bool
    visible_px: float
    scale: float = 1.0


@dataclass(frozen=True, eq=False, slots=True)
class Made:
    """New pixels with the share they take, (height, width), the ground after, and where from.

    disc_px: of the result over the whole map, where more than the ground changes.
    """

    pixels: Float
    share: Float
    ground: Ground
    source: Source
    why: str
    disc_px: Float | None = None


class CannotError(Exception):
    """A mode that does not suit; its message says why."""


def soft_in(job: Job, ground: Ground) -> Bool | None:
    """Return where a ground is soft between two sharp parts, bool as the map; None = nowhere."""
    return soft_between_sharp(ground, soft_from_px(job.background.size, job.visible_px))


def worst_disc_px(ground: Ground, soft: Bool) -> float:
    """Return the disc, px, that a flag over the soft part of a ground tells."""
    return float(np.quantile(ground.disc_px[soft], 0.9))


def share_of(job: Job, zone: Bool) -> Float:
    """Return a zone of the blur map at full size with a soft rim that lies inside it."""
    full = at_full_size(zone, job.blur.factor, job.background.size).astype(np.float32)
    width = 1.5 * job.blur.factor
    return np.asarray(np.clip(2 * gaussian(full, width) - 1, 0, 1) * full, np.float32)

"""The demonstration's pair and masks, as files."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from blendkit.files import write_grey, write_picture
from blendkit.frame import Frame
from blendkit.simulate import SimulatedPair, demo_scene, demo_spec, make_pair
from blendkit.simulate.rough_mask import rough_mask

TAKEN_AT = datetime(2025, 11, 8, 16, 41, 12, tzinfo=UTC)
"""Dusk in the orchard, when the first frame was taken."""


def simulated(size: tuple[int, int], seed: int) -> SimulatedPair:
    """Return the orchard gate's pair with its truth; size is (width, height), px."""
    pair = make_pair(demo_scene(size, seed), demo_spec(size, seed))
    return replace(
        pair,
        background=_taken(pair.background, "wide.tif", 0),
        foreground=_taken(pair.foreground, "stopped.tif", 9),
    )


def _taken(frame: Frame, name: str, after_s: float) -> Frame:
    moment = TAKEN_AT + timedelta(seconds=after_s)
    note = "invented by blendkit, free to use under the MIT licence"
    return replace(
        frame, name=name, capture=replace(frame.capture, captured_at=moment, copyright=note)
    )


def write_pair(folder: Path, pair: SimulatedPair, seed: int) -> dict[str, Path]:
    """Write frames, masks and truth; return the paths by what they are."""
    truth = pair.truth
    paths = {
        "wide": folder / "wide.tif",
        "stopped": folder / "stopped.tif",
        "painted": folder / "painted.png",
        "matte": folder / "true-matte.tif",
        "truth": folder / "true-result.tif",
    }
    write_picture(paths["wide"], pair.background.pixels, like=pair.background)
    write_picture(paths["stopped"], pair.foreground.pixels, like=pair.foreground)
    write_grey(paths["painted"], rough_mask(truth.matte, seed=seed), bits=8)
    write_grey(paths["matte"], truth.matte)
    write_picture(paths["truth"], truth.composite, like=pair.background)
    return paths

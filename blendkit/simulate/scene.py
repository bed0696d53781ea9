"""What stands before the camera: flat layers at known distances."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

from blendkit.errors import InputError
from blendkit.frame import Float

Role = Literal["foreground", "sitter", "background"]


@dataclass(frozen=True, eq=False, slots=True)
class Layer:
    """One flat layer, parallel to the sensor, as a pinhole at the reference position sees it.

    color: float32 (H, W, 3), linear light, not premultiplied; values above 1 are bright points.
    coverage: float32 (H, W), 0 to 1.
    distance_m: from the entrance pupil.
    role: what the merge should take it for.
    name: unique in its scene.
    """

    color: Float
    coverage: Float
    distance_m: float
    role: Role
    name: str

    def __post_init__(self) -> None:
        """Check that colour and coverage are of one canvas."""
        if self.color.shape[:2] != self.coverage.shape:
            raise InputError(
                f"layer {self.name}: colour {self.color.shape[:2]} and coverage "
                f"{self.coverage.shape} differ: draw both on one canvas"
            )


@dataclass(frozen=True, eq=False, slots=True)
class Scene:
    """Layers from back to front, drawn on a canvas larger than the frame.

    size: (width, height) of the frame in px.
    margin_px: canvas on each side beyond the frame, for blur discs and shifts to reach into.
    """

    layers: tuple[Layer, ...]
    size: tuple[int, int]
    margin_px: int
    name: str

    def __post_init__(self) -> None:
        """Check the order of depth and the canvas of every layer."""
        width, height = self.size
        canvas = (height + 2 * self.margin_px, width + 2 * self.margin_px)
        for layer in self.layers:
            if layer.coverage.shape != canvas:
                raise InputError(
                    f"layer {layer.name}: canvas {layer.coverage.shape} is not the scene's {canvas}"
                )
        distances = [layer.distance_m for layer in self.layers]
        if distances != sorted(distances, reverse=True):
            raise InputError(f"layer distances {distances}: list the layers from back to front")

    @property
    def anchor(self) -> Layer:
        """The layer that alignment should hold still: the sitter, else the farthest layer."""
        sitters = [layer for layer in self.layers if layer.role == "sitter"]
        return sitters[0] if sitters else self.layers[0]

    def chosen(self, *, without: Collection[Role] = ()) -> tuple[Layer, ...]:
        """Return the layers whose role is not left out, back to front."""
        return tuple(layer for layer in self.layers if layer.role not in without)

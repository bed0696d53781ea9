"""Every knob of a simulated pair, and the two cameras that follow from them."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from blendkit.errors import InputError
from blendkit.simulate.camera import Camera
from blendkit.simulate.scene import Layer, Scene

Discs = tuple[float, float]
"""Disc diameters in px: in the background frame, in the foreground frame."""


@dataclass(frozen=True, slots=True)
class PairSpec:
    """How the two frames of a pair were taken, all px at the frame's own size.

    foreground_disc_px, background_disc_px, sitter_disc_px: discs of the nearest foreground layer,
        the farthest background layer and the sitter, in the background frame and in the
        foreground frame; layers between follow in proportion to 1/distance.  None = thin lens.
    shift_px, rotation_deg, scale: how the foreground frame lies against the background frame, for
        the zone of the anchor (the sitter, else the farthest layer).
    parallax_px: what the nearest foreground layer moves beyond that, because the camera moved.
    wind_px: the same by wind, for all foreground layers; gust_px: RMS of wind that bends them
        unevenly; sway_px: the sitter's own movement.
    moves: further movements by layer name.
    gain: exposure of the foreground frame against the background frame, one factor or (r, g, b).
    falloff_ev, iso, shake_px, focus_distance_m: (background frame, foreground frame);
        a focus distance of None is the sitter's.
    long_side_mm: of the sensor; with the frame's size it gives the pixel pitch.
    cat_eye: how far both rims of the lens cover the background frame's pupil in the corners.
    tone_curve: both frames are rendered with a contrast curve, as files out of a camera are.
    mosaic: the sensor has a colour filter array, see `simulate.mosaic`; the truth has none.
    samples: aperture points; None chooses by the largest disc.
    """

    f_number: tuple[float, float] = (2.8, 16.0)
    focal_length_mm: float = 135.0
    focus_distance_m: tuple[float | None, float | None] = (None, None)
    long_side_mm: float = 36.0
    foreground_disc_px: Discs | None = None
    background_disc_px: Discs | None = None
    sitter_disc_px: Discs | None = None
    shift_px: tuple[float, float] = (0.0, 0.0)
    rotation_deg: float = 0.0
    scale: float = 1.0
    parallax_px: tuple[float, float] = (0.0, 0.0)
    wind_px: tuple[float, float] = (0.0, 0.0)
    gust_px: float = 0.0
    sway_px: tuple[float, float] = (0.0, 0.0)
    moves: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    gain: float | tuple[float, float, float] = 1.0
    falloff_ev: tuple[float, float] = (0.0, 0.0)
    iso: tuple[float, float] = (100.0, 800.0)
    exposure_time_s: tuple[float, float] = (1 / 500, 1 / 125)
    shake_px: tuple[float, float] = (0.0, 0.0)
    shake_angle_deg: float = 30.0
    cat_eye: tuple[float, float] = (0.0, 0.0)
    tone_curve: bool = False
    mosaic: bool = False
    samples: int | None = None
    seed: int = 0

    def cameras(self, scene: Scene) -> tuple[Camera, Camera]:
        """Return the camera of the background frame and that of the foreground frame."""
        return self._camera(scene, 0), self._camera(scene, 1)

    def movements(self, scene: Scene) -> dict[str, tuple[float, float]]:
        """Return what moved between the frames, by layer name, in px."""
        found: dict[str, tuple[float, float]] = {}
        for layer in scene.layers:
            by_role = {"foreground": self.wind_px, "sitter": self.sway_px, "background": (0.0, 0.0)}
            own, extra = by_role[layer.role], self.moves.get(layer.name, (0.0, 0.0))
            found[layer.name] = (own[0] + extra[0], own[1] + extra[1])
        return found

    def _camera(self, scene: Scene, which: int) -> Camera:
        focus = self.focus_distance_m[which] or scene.anchor.distance_m
        camera = Camera(
            focal_length_mm=self.focal_length_mm,
            f_number=self.f_number[which],
            focus_distance_m=focus,
            pixel_pitch_mm=self.long_side_mm / max(scene.size),
            falloff_ev_corner=self.falloff_ev[which],
            iso=self.iso[which],
            shake_px=self.shake_px[which],
            shake_angle_deg=self.shake_angle_deg,
            cat_eye=self.cat_eye if which == 0 else (0.0, 0.0),
            samples=self.samples,
            blur_disc_px=self._discs(scene, which),
        )
        return camera if which == 0 else self._moved(scene, camera)

    def _moved(self, scene: Scene, camera: Camera) -> Camera:
        """Return the camera where it stood for the foreground frame."""
        shift = _camera_shift_mm(scene, camera, self.parallax_px)
        swung = replace(camera, shift_mm=shift)
        anchor = swung.parallax_px(scene.anchor.distance_m)
        turned = replace(swung, rotation_deg=self.rotation_deg, scale=self.scale)
        carried = turned.grid(scene.size)[:2, :2] @ anchor
        offset = (float(self.shift_px[0] - carried[0]), float(self.shift_px[1] - carried[1]))
        return replace(turned, offset_px=offset, gain=self.gain)

    def _discs(self, scene: Scene, which: int) -> dict[str, float]:
        """Return the discs that are asked for directly, by layer name."""
        found: dict[str, float] = {}
        anchor = scene.anchor.distance_m
        near = [layer for layer in scene.layers if layer.role == "foreground"]
        far = [layer for layer in scene.layers if layer.role == "background"]
        if self.foreground_disc_px and near:
            found |= _in_proportion(near, near[-1], anchor, self.foreground_disc_px[which])
        if self.background_disc_px and far:
            found |= _in_proportion(far, far[0], anchor, self.background_disc_px[which])
        if self.sitter_disc_px:
            sitters = [layer for layer in scene.layers if layer.role == "sitter"]
            found |= {layer.name: self.sitter_disc_px[which] for layer in sitters}
        return found


def _in_proportion(
    layers: list[Layer], reference: Layer, focus_m: float, disc_px: float
) -> dict[str, float]:
    """Share a disc out by |1/d - 1/s|, to which a thin lens's discs are proportional."""
    whole = abs(1 / reference.distance_m - 1 / focus_m)
    if whole == 0:
        return {layer.name: disc_px for layer in layers}
    return {
        layer.name: disc_px * abs(1 / layer.distance_m - 1 / focus_m) / whole for layer in layers
    }


def _camera_shift_mm(
    scene: Scene, camera: Camera, parallax_px: tuple[float, float]
) -> tuple[float, float]:
    """Return the sideways movement that shifts the nearest layer by parallax_px past the anchor."""
    nearest, anchor = scene.layers[-1].distance_m, scene.anchor.distance_m
    if parallax_px == (0.0, 0.0):
        return 0.0, 0.0
    if nearest == anchor:
        raise InputError("parallax_px needs a layer nearer than the anchor: add a foreground")
    moved = replace(camera, shift_mm=(1.0, 1.0))
    per_mm = moved.parallax_px(nearest)[0] - moved.parallax_px(anchor)[0]
    return parallax_px[0] / per_mm, parallax_px[1] / per_mm

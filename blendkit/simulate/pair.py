"""A simulated pair with its exact truth."""

from dataclasses import dataclass

import numpy as np

from blendkit.frame import Capture, Float, Frame, Matrix
from blendkit.simulate.camera import Camera, translation
from blendkit.simulate.render import gather, render
from blendkit.simulate.scene import Layer, Scene
from blendkit.simulate.sensor import exposed, falloff, shaken, toned
from blendkit.simulate.spec import Discs, PairSpec
from blendkit.simulate.wind import blown


@dataclass(frozen=True, eq=False, slots=True)
class Truth:
    """What a perfect merge of a pair would find, on the background frame's grid.

    All pictures are noise-free float32 in the background frame's light: its exposure, its
    fall-off, its tone curve if it has one.  Not clipped.

    composite: the picture wanted, plate with the foreground as the foreground frame sees it.
    matte: coverage (height, width) of that foreground.
    plate: the background frame taken without the foreground.
    foreground_color: straight colour of the foreground; 0 where the matte is 0.
    foreground_aligned: the foreground frame.
    warp: background px to foreground px for the anchor's zone, had the sitter not swayed.
    blur_discs_px: layer name to (in background frame, in foreground frame).
    veil_coverage: how much of the lens the blurred foreground covers in the background frame.
    sitter: coverage of the sitter in the background frame, not hidden by anything.
    layer_mattes: coverage of each foreground layer alone, as in matte, by its name.
    softness_px: disc of what stands behind the foreground, in the background frame.
    """

    composite: Float
    matte: Float
    plate: Float
    foreground_color: Float
    foreground_aligned: Float
    warp: Matrix
    blur_discs_px: dict[str, Discs]
    veil_coverage: Float
    sitter: Float
    layer_mattes: dict[str, Float]
    softness_px: Float


@dataclass(frozen=True, eq=False, slots=True)
class SimulatedPair:
    """Both frames as a camera would deliver them, and the truth."""

    background: Frame
    foreground: Frame
    truth: Truth


def make_pair(scene: Scene, spec: PairSpec) -> SimulatedPair:
    """Take both frames of a scene and work out what a perfect merge would give."""
    wide, narrow = spec.cameras(scene)
    moves = spec.movements(scene)
    light = render(scene, wide, seed=spec.seed)
    later = blown(scene, spec.gust_px, seed=spec.seed + 4)
    sharp = render(later, narrow, moves=moves, seed=spec.seed + 1)
    finish = {"tone_curve": spec.tone_curve, "mosaic": spec.mosaic}
    background = exposed(light, wide, **finish, seed=spec.seed + 2)
    foreground = exposed(sharp, narrow, **finish, seed=spec.seed + 3)
    return SimulatedPair(
        background=Frame(background, _capture(spec, wide, 0), f"{scene.name}-background"),
        foreground=Frame(foreground, _capture(spec, narrow, 1), f"{scene.name}-foreground"),
        truth=_truth(scene, later, spec, wide, narrow),
    )


def _truth(scene: Scene, later: Scene, spec: PairSpec, wide: Camera, narrow: Camera) -> Truth:
    """Work out the truth from the scene in the background frame and the later one."""
    warp = warp_between(scene, narrow)
    near = [layer for layer in later.layers if layer.role == "foreground"]
    before = [layer for layer in scene.layers if layer.role == "foreground"]
    sitters = [layer for layer in scene.layers if layer.role == "sitter"]
    light = _aligned(later, near, spec, narrow, warp)
    matte = _aligned(later, near, spec, narrow, warp, coverage_only=True)
    plate = render(scene, wide, without={"foreground"}, seed=spec.seed)
    light *= falloff(scene.size, wide.falloff_ev_corner)[..., None]
    whole = _aligned(later, later.layers, spec, narrow, warp)
    whole *= falloff(scene.size, wide.falloff_ev_corner)[..., None]
    tone = toned if spec.tone_curve else np.asarray
    color = np.where(matte > 1e-4, light / np.maximum(matte, 1e-4), 0).astype(np.float32)
    return Truth(
        composite=tone(light + (1 - matte) * plate),
        matte=matte[..., 0],
        plate=tone(plate),
        foreground_color=tone(color),
        foreground_aligned=tone(whole),
        warp=warp,
        blur_discs_px={
            layer.name: (abs(wide.signed_disc_px(layer)), abs(narrow.signed_disc_px(layer)))
            for layer in scene.layers
        },
        veil_coverage=_coverage(scene, before, spec, wide),
        sitter=_coverage(scene, sitters, spec, wide),
        layer_mattes={
            layer.name: _aligned(later, [layer], spec, narrow, warp, coverage_only=True)[..., 0]
            for layer in near
        },
        softness_px=_softness(scene, spec, wide),
    )


def warp_between(scene: Scene, narrow: Camera) -> Matrix:
    """Return the map from the reference picture's px to a camera's px at the anchor's distance."""
    swung = narrow.parallax_px(scene.anchor.distance_m)
    warp = narrow.grid(scene.size) @ translation(*swung)
    return np.asarray(warp, np.float64)


def _aligned(
    scene: Scene,
    layers: list[Layer] | tuple[Layer, ...],
    spec: PairSpec,
    narrow: Camera,
    warp: Matrix,
    *,
    coverage_only: bool = False,
) -> Float:
    """Gather layers with the foreground frame's optics directly on the background frame's grid."""
    grid = np.linalg.inv(warp) @ narrow.grid(scene.size)
    moves = spec.movements(scene)
    light = gather(
        scene,
        layers,
        narrow,
        grid=grid,
        moves=moves,
        coverage_only=coverage_only,
        seed=spec.seed + 1,
    )
    return shaken(light, narrow)


def _coverage(scene: Scene, layers: list[Layer], spec: PairSpec, wide: Camera) -> Float:
    covered = gather(
        scene, layers, wide, grid=wide.grid(scene.size), coverage_only=True, seed=spec.seed
    )
    return covered[..., 0]


def _capture(spec: PairSpec, camera: Camera, which: int) -> Capture:
    return Capture(
        f_number=spec.f_number[which],
        exposure_time_s=spec.exposure_time_s[which],
        iso=spec.iso[which],
        focal_length_mm=spec.focal_length_mm,
        focus_distance_m=camera.focus_distance_m,
        camera="Orchard Mk I",
        lens=f"Pome {spec.focal_length_mm:g} mm",
    )


def _softness(scene: Scene, spec: PairSpec, wide: Camera) -> Float:
    """Return the disc of the nearest layer behind the foreground, (height, width), px."""
    result = np.zeros(scene.size[::-1], np.float32)
    for layer in scene.chosen(without={"foreground"}):
        cover = _coverage(scene, [layer], spec, wide)
        result += cover * (abs(wide.signed_disc_px(layer)) - result)
    return result

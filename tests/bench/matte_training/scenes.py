"""Training scenes: random mixtures of shapes and depths, with boughs unlike the named ones.

The matte network must not learn one bough generator.  Here foregrounds are spline tangles, random
forks, leaf sprays (each leaf in its own colour, or all in one) and thick limbs in any colour, none
of them drawn by the bough and leaf painters of the named scenes, on which it is judged.
Backgrounds are noise at all scales, bright clouds, photographs, the simulator's painted woods,
hedges, hills and poplars, dense foliage, and thin lines, rails and blobs that look like foreground
but are not; a figure of limbs and patches, smooth or textured, stands for the sitter.  In two of
five scenes all boughs, those in front and those behind, are of one bark: colour tells nothing.
The pair is rendered by the simulator, through a sampled aperture.  With --alike a share of the
scenes is of the hard kind: one bark, the background nearly as soft as the boughs are in the soft
frame, and now and then softer in the sharp frame than in the soft one, as in a pair of two focuses.
With --leafy there are leaves on all that stands in front; with --grown leaves hang on their twigs
(grown.py), and bark is in patches.  With --kindred what stands in front is leafy, in the colours of
the ground behind.  With --one-focus a share of the pairs is taken at two apertures with the focus
left where it was: then the boughs are soft in the sharp frame too.  With --refocused a share has
the sharp frame focused on the boughs: then it spreads the sitter, and the ground more than her.
With --thicket grass, needles, hanging strands, bushes or blossom stand in front (thickets.py).
With --toned something lies along one side of the boughs (toned.py).

    python tests/bench/matte_training/scenes.py OUT_FOLDER --count 600 --seed 1 --photographs FOLDER
"""

import sys
from dataclasses import dataclass
from pathlib import Path

import click
import cv2
import numpy as np
from apertures import SHARP_PX, Shares, pair_spec
from grown import Palette, hung, laid_leaves, patched
from lines import SUPER, forks, stroked, walk
from photographs import Photographs
from thickets import shaded, thicket
from toned import topped

from blendkit.frame import Float
from blendkit.simulate.drawing import backgrounds
from blendkit.simulate.pair import make_pair
from blendkit.simulate.scene import Layer, Scene

SIZE = (448, 448)
MARGIN = 110
_PHOTOGRAPHED = 0.45
_LEAVED, _LEAVED_IF_GROWN, _KIN_BARK = 0.35, 0.75, 0.3
_MASS, _MASS_BEHIND = 0.8, 0.4
_TONED, _TONED_BEHIND = 0.9, 0.4
_PLAIN = Shares()


@dataclass(frozen=True, eq=False, slots=True)
class Habit:
    """How boughs grow.  bark: their colour, None for any.  leaved: chance of leaves.

    leaf_colors: those that leaves come in, None for any.  grown: whether they hang on their twigs.
    mass: chance that it stands as a mass.  toned: that something lies along the boughs.
    """

    bark: np.ndarray | None = None
    leaved: float = _LEAVED
    leaf_colors: Palette | None = None
    grown: bool = False
    mass: float = 0.0
    toned: float = 0.0


def training_pair(
    seed: int, photographs: Photographs, shares: Shares = _PLAIN
) -> dict[str, np.ndarray]:
    """Return one pair: both frames noise-free in one light, matte, sitter, all float16.

    sitter: where it is sharp in both frames, else 0.
    """
    rng, hard = np.random.default_rng(seed), np.random.default_rng((seed, 1))
    close = bool(hard.uniform() < shares.alike)
    kin = _bark(rng) if rng.uniform() < 0.4 or (close and hard.uniform() < 0.7) else None
    layers = _layers(seed, rng, kin, photographs, shares)
    spec = pair_spec(seed, rng, hard if close else None, shares)
    pair = make_pair(Scene(layers, SIZE, MARGIN, "training"), spec)
    truth = pair.truth
    parts = {
        "soft": pair.background.pixels,
        "sharp": truth.foreground_aligned,
        "matte": truth.matte,
        "sitter": truth.sitter * (spec.sitter_disc_px[1] < SHARP_PX),
    }
    return {name: np.asarray(value, np.float16) for name, value in parts.items()}


def _layers(
    seed: int,
    rng: np.random.Generator,
    kin: np.ndarray | None,
    photographs: Photographs,
    shares: Shares,
) -> tuple[Layer, ...]:
    """Return what stands at which distance.  kin: the bark of all boughs, if it is one."""
    shape = (SIZE[1] + 2 * MARGIN, SIZE[0] + 2 * MARGIN)
    far = _backdrop(shape, rng, kin, photographs)
    layers = [Layer(far, np.ones(shape, np.float32), 40.0, "background", "far")]
    habit = _habit(seed, far, kin, shares)
    if rng.uniform() < 0.6:
        if rng.uniform() < 0.25:
            color, cover = _rails(shape, rng, photographs)
        else:
            behind = Habit(
                bark=habit.bark,
                grown=habit.grown,
                mass=_MASS_BEHIND * habit.mass,
                toned=_TONED_BEHIND * habit.toned,
            )
            thickness = rng.uniform(0.5, 2.5)
            color, cover = _foreground(shape, rng, photographs, thickness, behind)
        layers.append(Layer(color, cover, 12.0, "background", "middle"))
    if rng.uniform() < 0.6:
        color, cover = _sitter(shape, rng, photographs)
        layers.append(Layer(color, cover, 5.0, "sitter", "sitter"))
    for index in range(rng.integers(1, 3)):
        thickness = float(np.exp(rng.uniform(-0.7, 1.2)))
        color, cover = _foreground(shape, rng, photographs, thickness, habit)
        layers.append(Layer(color, cover, 2.5 - 0.4 * index, "foreground", f"near{index}"))
    if not any(layer.role == "sitter" for layer in layers):
        layers.append(layers.pop())
    return tuple(layers)


def _habit(seed: int, ground: Float, kin: np.ndarray | None, shares: Shares) -> Habit:
    """Return how what stands in front grows."""
    leafy, grown = (np.random.default_rng((seed, n)).uniform() for n in (2, 3))
    leaved = 1.0 if leafy < shares.leafy else _LEAVED
    alive = bool(grown < shares.grown)
    mass = _MASS if np.random.default_rng((seed, 7)).uniform() < shares.thicket else 0.0
    toned = _TONED if np.random.default_rng((seed, 8)).uniform() < shares.toned else 0.0
    if alive:
        leaved = max(leaved, _LEAVED_IF_GROWN)
    relation = np.random.default_rng((seed, 5))
    if relation.uniform() >= shares.kindred:
        return Habit(bark=kin, leaved=leaved, grown=alive, mass=mass, toned=toned)
    colors = _colors_of(ground, relation)
    bark = colors[0] if relation.uniform() < _KIN_BARK else kin
    return Habit(bark=bark, leaved=1.0, leaf_colors=colors, grown=alive, mass=mass, toned=toned)


def _colors_of(ground: Float, rng: np.random.Generator) -> Palette:
    """Return colours of a ground, in a little other light."""
    colors = []
    for _ in range(1 + rng.integers(3)):
        row, column = (int(rng.integers(0, n)) for n in ground.shape[:2])
        tint = np.exp(rng.normal(0, 0.3) + rng.normal(0, 0.08, 3))
        colors.append((ground[row, column] * tint).astype(np.float32))
    return colors


def _noise(shape: tuple[int, int], rng: np.random.Generator, *, roughness: float) -> Float:
    """Return noise with a power-law spectrum, zero mean, unit deviation."""
    total = np.zeros(shape, np.float32)
    for octave in range(9):
        cells = (max(shape[0] >> octave, 2), max(shape[1] >> octave, 2))
        grid = rng.normal(size=cells).astype(np.float32)
        total += cv2.resize(grid, shape[::-1], interpolation=cv2.INTER_CUBIC) * roughness**octave
    return (total - total.mean()) / (total.std() + 1e-6)


def _color(
    rng: np.random.Generator, *, low: float = 0.01, high: float = 0.9, tinting: float = 0.25
) -> np.ndarray:
    light = np.exp(rng.uniform(np.log(low), np.log(high)))
    tint = np.exp(rng.normal(0, tinting, 3))
    return (light * tint / tint.mean()).astype(np.float32)


def _backdrop(
    shape: tuple[int, int],
    rng: np.random.Generator,
    kin: np.ndarray | None,
    photographs: Photographs,
) -> Float:
    """Return what lies far behind: a photograph, painted, or noise, with clutter, rails, a sky."""
    if photographs.own and rng.uniform() < _PHOTOGRAPHED:
        return np.maximum(_picture(shape, rng, photographs), 0.002)
    kind = rng.uniform()
    if kind < 0.4:
        return _railed(_painted(shape, rng, photographs), rng, photographs)
    if kind < 0.5:
        ground = _clouds(shape, rng)
    elif kind < 0.7:
        ground = _picture(shape, rng, photographs)
    else:
        field = _noise(shape, rng, roughness=rng.uniform(0.9, 2.2))[..., None]
        share = 1 / (1 + np.exp(-field * rng.uniform(0.5, 2)))
        ground = share * _color(rng) + (1 - share) * _color(rng)
    if rng.uniform() < 0.5:
        edge = _noise(shape, rng, roughness=rng.uniform(1.3, 2)) * 40 + np.arange(shape[0])[:, None]
        sky = 1 / (1 + np.exp((edge - rng.uniform(0.1, 0.9) * shape[0]) / rng.uniform(0.5, 6)))
        ground = ground * (1 - sky[..., None]) + _color(rng, low=0.3, high=1.1) * sky[..., None]
    if rng.uniform() < 0.6:
        thickness = rng.uniform(0.6, 3)
        color, cover = _foreground(shape, rng, photographs, thickness, Habit(bark=kin))
        ground = ground * (1 - cover[..., None]) + color * cover[..., None]
    if rng.uniform() < 0.3:
        _bright_points(ground, rng)
    return _railed(np.maximum(ground, 0.002).astype(np.float32), rng, photographs)


def _railed(ground: Float, rng: np.random.Generator, photographs: Photographs) -> Float:
    """Return a ground with rails and posts before it, in one of five."""
    if rng.uniform() > 0.2:
        return ground
    color, cover = _rails(ground.shape[:2], rng, photographs)
    return np.asarray(ground * (1 - cover[..., None]) + color * cover[..., None], np.float32)


def _rails(
    shape: tuple[int, int], rng: np.random.Generator, photographs: Photographs
) -> tuple[Float, Float]:
    """Return a fence, a grid or poles: straight bars, thin like twigs, that are no foreground."""
    reach = max(shape)
    lines = []
    lean = rng.normal(0, 0.03)
    for upright, share in ((False, 0.8), (True, 0.7)):
        if rng.uniform() > share:
            continue
        width, gap = np.exp(rng.uniform(np.log(1.5), np.log(22))), rng.uniform(18, 160)
        first, last = sorted(rng.uniform(-0.1, 1.1, 2) * reach)
        for at in np.arange(first, last, max(gap, 2 * width)):
            along = np.array([[-reach, at], [2 * reach, at + 3 * reach * lean]])
            ends = along[:, ::-1] if upright else along
            lines.append((ends + rng.normal(0, 1.5, (2, 2)), np.full(2, width)))
    if lines and rng.uniform() < 0.4:
        ends = rng.uniform(0, 1, (2, 2)) * shape[::-1]
        lines.append((ends, np.full(2, lines[-1][1][0])))
    cover = stroked(shape, lines)
    if rng.uniform() < 0.6:
        cover = cover * _blob(shape, rng.uniform(0, 1, 2) * shape[::-1], (300, 120), rng)
    return _surface(shape, cover, rng, _bark(rng), photographs), cover


def _clouds(shape: tuple[int, int], rng: np.random.Generator) -> Float:
    """Return a bright cloudy sky, perhaps brighter than white."""
    field = _noise(shape, rng, roughness=rng.uniform(1.3, 2.2))[..., None]
    share = 1 / (1 + np.exp(-field * rng.uniform(1, 4)))
    blue = _color(rng, low=0.2, high=0.8, tinting=0.15) * np.array([0.7, 0.9, 1.2])
    cloud = _color(rng, low=0.6, high=1.6, tinting=0.08)
    return np.asarray(share * cloud + (1 - share) * blue, np.float32)


def _painted(shape: tuple[int, int], rng: np.random.Generator, photographs: Photographs) -> Float:
    """Return one of the simulator's landscapes in other light, perhaps with dense foliage."""
    painters = (
        backgrounds.woods,
        backgrounds.hills,
        backgrounds.poplars,
        backgrounds.hedge_with_gaps,
    )
    painter = painters[int(rng.integers(len(painters)))]
    drawn = painter(SIZE, float(rng.uniform(0.4, 1.4)), rng).color
    ground = cv2.resize(drawn, shape[::-1], interpolation=cv2.INTER_LINEAR)
    for _ in range(rng.integers(0, 4)):
        leaves = _leaves(rng, shape, rng.uniform(3, 12), sprays=int(rng.integers(10, 60)))
        color, cover = _leafage(shape, leaves, rng, photographs)
        ground = ground * (1 - cover[..., None]) + color * cover[..., None]
    return np.maximum(ground * _color(rng, low=0.4, high=1.6), 0.002).astype(np.float32)


def _bright_points(ground: Float, rng: np.random.Generator) -> None:
    for _ in range(rng.integers(3, 30)):
        x, y = (int(rng.integers(0, n)) for n in ground.shape[1::-1])
        light = [float(v) for v in _color(rng, low=1, high=6)]
        cv2.circle(ground, (x, y), int(rng.integers(1, 4)), light, -1, cv2.LINE_AA)


def _picture(shape: tuple[int, int], rng: np.random.Generator, photographs: Photographs) -> Float:
    light = _color(rng, low=0.3, high=1.3, tinting=0.12)
    return np.asarray(photographs.crop(shape, rng) * light, np.float32)


def _sitter(
    shape: tuple[int, int], rng: np.random.Generator, photographs: Photographs
) -> tuple[Float, Float]:
    """Return a shape in parts, smooth or textured, with hair-like lines at its edge."""
    middle = rng.uniform(0.25, 0.75, 2) * shape[::-1]
    cover = _blob(shape, middle, (rng.uniform(40, 150), rng.uniform(80, 220)), rng)
    color = _cloth(shape, rng, photographs)
    for _ in range(rng.integers(0, 6)):
        if rng.uniform() < 0.6:
            path = walk(rng, tuple(middle), rng.uniform(150, 420), rng.uniform(0.01, 0.08))
            widths = np.linspace(rng.uniform(25, 80), rng.uniform(10, 40), len(path))
            part = stroked(shape, [(path, widths)])
        else:
            at = middle + rng.normal(0, 90, 2)
            part = _blob(shape, at, (rng.uniform(20, 90), rng.uniform(20, 90)), rng)
        color = color * (1 - part[..., None]) + _cloth(shape, rng, photographs) * part[..., None]
        cover = np.maximum(cover, part)
    if rng.uniform() < 0.6:
        paths = [
            walk(rng, tuple(middle), rng.uniform(60, 200), 0.02) for _ in range(rng.integers(5, 60))
        ]
        hair = stroked(shape, [(p, np.full(len(p), rng.uniform(0.8, 2))) for p in paths])
        color = color * (1 - hair[..., None]) + _color(rng, high=0.3) * hair[..., None]
        cover = np.maximum(cover, hair)
    return color.astype(np.float32), cover.astype(np.float32)


def _blob(
    shape: tuple[int, int],
    middle: np.ndarray,
    halves_px: tuple[float, float],
    rng: np.random.Generator,
) -> Float:
    """Return a round shape with an uneven outline: coverage."""
    y, x = np.indices(shape, np.float32)
    across = np.hypot((x - middle[0]) / halves_px[0], (y - middle[1]) / halves_px[1])
    uneven = rng.uniform(0, 0.2) * _noise(shape, rng, roughness=1.8)
    return np.asarray(np.clip((1.0 + uneven - across) * 40, 0, 1), np.float32)


def _cloth(shape: tuple[int, int], rng: np.random.Generator, photographs: Photographs) -> Float:
    """Return skin or cloth: smooth shading and a little texture, or a picture."""
    if rng.uniform() < 0.25:
        return _picture(shape, rng, photographs)
    shading = rng.uniform(0.02, 0.5) * _noise(shape, rng, roughness=2.2)
    texture = np.exp(rng.uniform(-4, -1)) * _noise(shape, rng, roughness=rng.uniform(0.6, 1.3))
    return np.asarray(_color(rng) * np.exp(shading + texture)[..., None], np.float32)


def _leaves(
    rng: np.random.Generator, shape: tuple[int, int], size: float, *, sprays: int | None = None
) -> list[np.ndarray]:
    """Return the outlines of sprays of pointed leaves."""
    leaves = []
    for _ in range(sprays or int(rng.integers(2, 9))):
        centre = rng.uniform(0, 1, 2) * shape[::-1]
        for _ in range(rng.integers(10, 70)):
            at = centre + rng.normal(0, size * rng.uniform(2, 5), 2)
            long, wide, turn = (
                size * rng.uniform(0.5, 1.2),
                rng.uniform(0.2, 0.6),
                rng.uniform(0, np.pi),
            )
            t = np.linspace(0, 2 * np.pi, 24)
            leaf = np.column_stack(
                [np.cos(t) * long, np.sin(t) * long * wide * np.abs(np.sin(t / 2)) ** 0.5]
            )
            spin = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
            leaves.append(leaf @ spin + at)
    return leaves


def _leafage(
    shape: tuple[int, int],
    leaves: list[np.ndarray],
    rng: np.random.Generator,
    photographs: Photographs,
    *,
    base: np.ndarray | None = None,
) -> tuple[Float, Float]:
    """Return colour and coverage of leaves: all of one colour, or each of its own.

    base: the colour that they vary about.
    """
    fine = np.zeros((shape[0] * SUPER, shape[1] * SUPER), np.uint8)
    vivid = float(rng.choice([0.2, 0.8]))
    drawn = _color(rng, low=0.02, high=0.6, tinting=vivid)
    base = drawn if base is None else base
    variety = rng.uniform(0, 0.5)
    color = np.ascontiguousarray(np.broadcast_to(base, (*shape, 3)), np.float32)
    for leaf in leaves:
        cv2.fillPoly(fine, [np.round(leaf * SUPER).astype(np.int32)], 255)
        own = base * np.exp(rng.normal(0, variety) + rng.normal(0, 0.4 * variety, 3))
        outline, tint = np.round(leaf).astype(np.int32), [float(v) for v in own]
        cv2.fillPoly(color, [outline], tint)
        cv2.polylines(color, [outline], True, tint, 3)
    cover = (cv2.resize(fine, shape[::-1], interpolation=cv2.INTER_AREA) / 255).astype(np.float32)
    texture = np.exp(rng.uniform(0.02, 0.3) * _relief(shape, rng, photographs))
    return np.asarray(color * texture[..., None], np.float32), cover


def _foreground(
    shape: tuple[int, int],
    rng: np.random.Generator,
    photographs: Photographs,
    thickness: float,
    habit: Habit,
) -> tuple[Float, Float]:
    """Return colour and coverage of one layer of boughs, tangles or leaves."""
    if habit.mass and rng.uniform() < habit.mass:
        bark = _bark(rng) if habit.bark is None else habit.bark
        palette = _palette(rng) if habit.leaf_colors is None else habit.leaf_colors
        color, cover = thicket(shape, thickness, bark, palette, rng)
        return shaded(color, rng), cover
    kind = rng.uniform()
    lines: list[tuple[np.ndarray, np.ndarray]] = []
    if kind < 0.65:
        for _ in range(rng.integers(1, 4) if rng.uniform() < 0.75 else rng.integers(4, 10)):
            lines += forks(rng, shape, thickness * np.exp(rng.uniform(np.log(2), np.log(24))))
    if kind > 0.5:
        for _ in range(rng.integers(2, 14)):
            start = tuple(rng.uniform(0, 1, 2) * shape[::-1])
            path = walk(rng, start, rng.uniform(80, 700), rng.uniform(0.004, 0.05))
            lines.append((path, np.full(len(path), max(thickness * rng.uniform(0.9, 4), 0.9))))
    cover = stroked(shape, lines)
    color = _surface(
        shape, cover, rng, _bark(rng) if habit.bark is None else habit.bark, photographs
    )
    if habit.toned and rng.uniform() < habit.toned:
        color = topped(color, cover, _noise(shape, rng, roughness=rng.uniform(0.8, 1.6)), rng)
    if habit.grown:
        color = patched(color, _noise(shape, rng, roughness=rng.uniform(0.8, 1.6)), rng)
        if lines and rng.uniform() < habit.leaved:
            size = float(np.clip(rng.uniform(5, 22) * thickness, 5, 45))
            palette = _palette(rng) if habit.leaf_colors is None else habit.leaf_colors
            return laid_leaves((color, cover), hung(lines, size, rng), palette, rng)
    elif rng.uniform() < habit.leaved:
        leaves = _leaves(rng, shape, max(rng.uniform(6, 30) * thickness, 4))
        about = None if habit.leaf_colors is None else habit.leaf_colors[0]
        own, leafy = _leafage(shape, leaves, rng, photographs, base=about)
        color = own * leafy[..., None] + color * (1 - leafy[..., None])
        cover = leafy + cover * (1 - leafy) if rng.uniform() < 0.7 else leafy
        color = color if rng.uniform() < 0.7 else own
    return color, cover


def _palette(rng: np.random.Generator) -> Palette:
    """Return the colours that the leaves of one layer come in, dark to lit through."""
    vivid = float(rng.choice([0.2, 0.5, 0.9]))
    return [_color(rng, low=0.02, high=1.0, tinting=vivid) for _ in range(1 + rng.integers(3))]


def _bark(rng: np.random.Generator) -> np.ndarray:
    """Return a colour, mostly dark."""
    vivid = 0.25 if rng.uniform() < 0.8 else 0.6
    return _color(rng, low=0.01, high=0.25 if rng.uniform() < 0.8 else 0.9, tinting=vivid)


def _relief(shape: tuple[int, int], rng: np.random.Generator, photographs: Photographs) -> Float:
    """Return texture of bark or leaf, zero mean, unit deviation: noise, or a photograph's."""
    if photographs.own and rng.uniform() < _PHOTOGRAPHED:
        return photographs.texture(shape, rng)
    return _noise(shape, rng, roughness=rng.uniform(0.7, 1.5))


def _surface(
    shape: tuple[int, int],
    cover: Float,
    rng: np.random.Generator,
    base: np.ndarray,
    photographs: Photographs,
) -> Float:
    """Return bark: a base colour, texture, and light from one side by the coverage's relief."""
    texture = np.exp(rng.uniform(0.05, 0.5) * _relief(shape, rng, photographs))
    relief = cv2.GaussianBlur(cover, (0, 0), rng.uniform(1, 4))
    angle = rng.uniform(0, 2 * np.pi)
    slope = np.cos(angle) * np.gradient(relief, axis=1) + np.sin(angle) * np.gradient(
        relief, axis=0
    )
    shading = np.exp(np.clip(slope * rng.uniform(0, 8), -1.2, 1.2))
    return np.asarray(base * (texture * shading)[..., None], np.float32)


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--count", default=600)
@click.option("--seed", default=1)
@click.option("--alike", default=0.0, help="share of scenes that are hard to tell apart")
@click.option("--leafy", default=0.0, help="share of scenes with leaves on all that is in front")
@click.option("--grown", default=0.0, help="share of scenes with leaves that hang on their twigs")
@click.option("--one-focus", default=0.0, help="share of pairs that differ in aperture alone")
@click.option("--kindred", default=0.0, help="share of scenes with leaves in the ground's colours")
@click.option("--refocused", default=0.0, help="share of pairs focused on the boughs")
@click.option("--thicket", default=0.0, help="share of scenes with grass, needles, bushes in front")
@click.option("--toned", default=0.0, help="share of scenes with snow or moss on the boughs")
@click.option("--photographs", type=click.Path(exists=True, file_okay=False, path_type=Path))
def main(folder: Path, count: int, seed: int, photographs: Path | None, **shares: float) -> None:
    """Write COUNT training pairs to FOLDER as npz files."""
    stock = Photographs(photographs)
    cv2.setNumThreads(1)
    folder.mkdir(parents=True, exist_ok=True)
    for index in range(count):
        target = folder / f"{seed:03d}-{index:05d}.npz"
        if not target.exists():
            pair = training_pair(seed * 100_000 + index, stock, Shares(**shares))
            np.savez(target, **pair)
        if index % 50 == 0:
            print(index, file=sys.stderr)


if __name__ == "__main__":
    main()

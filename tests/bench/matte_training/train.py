"""Trains the matte network on pairs made by scenes.py and writes it as ONNX.

    python tests/bench/matte_training/scenes.py SCENES --count 1000 --seed 1
    python tests/bench/matte_training/train.py SCENES blendkit/masks/matte_net.onnx --minutes 45

Needs PyTorch (CPU is enough), which the package itself does not.  Every tenth scene is held out;
the last line prints the mean absolute error there.
"""

import time
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import cast

import click
import cv2
import numpy as np
import torch
from hints import wobbly_hint
from learning import fed, rate_at, raw_maps, running_mean
from network import MatteNet, exported
from numpy.typing import NDArray
from resume import resumed
from tints import colour_mix, mixed
from torch import nn

from blendkit.masks.evidence import (
    NO_PRIOR,
    PLANES,
    PRIOR,
    colour_evidence,
    exposure_scale,
    network_planes,
)

_CROP = 160
_BATCH = 10
_SURROUNDED = 7
"""Crops of a batch that get a prior: always as many, since each number costs its own kernels."""
_JUDGED = 40
"""Batches by which the held-out error is measured."""

Sample = dict[str, NDArray[np.float32]]


class Scenes:
    """Scenes on disk, kept in memory as half floats."""

    def __init__(self, files: list[Path]) -> None:
        self._scenes = [dict(np.load(f)) for f in files]

    def __len__(self) -> int:
        return len(self._scenes)

    def crop(self, index: int, rng: np.random.Generator, *, surrounded: bool) -> Sample:
        """Return a random crop, scaled and turned, in random light, with random grain.

        surrounded: with its surroundings at half the scale, from which the network makes the prior,
        as it does in use: there the coarser scale has seen more of the picture.
        """
        scene = self._scenes[index]
        full = scene["matte"].shape[0]
        zoom = (
            float(np.exp(rng.uniform(np.log(0.36), np.log(1.25)))) if rng.uniform() < 0.7 else 1.0
        )
        side = min(int(_CROP / zoom), full)
        for _ in range(4):
            top, left = (int(v) for v in rng.integers(0, full - side + 1, 2))
            window = (slice(top, top + side), slice(left, left + side))
            if scene["matte"][window].astype(np.float32).mean() > 0.01:
                break
        turn = (int(rng.integers(4)), bool(rng.uniform() < 0.5))
        taking = _Taking(rng)
        fine = _cut(scene, window, _CROP)
        if not surrounded:
            fine = _turned(fine, turn)
            fine["hint"] = _hint(fine["matte"], rng)
            return taking.taken(fine, rng, shrunk=1)
        wide = min(2 * side, full)
        at = [max(0, min(v - (wide - side) // 2, full - wide)) for v in (top, left)]
        per_px = _CROP / (2 * side)
        coarse = _cut(
            scene, (slice(at[0], at[0] + wide), slice(at[1], at[1] + wide)), round(wide * per_px)
        )
        coarse["hint"] = _hint(coarse["matte"], rng, shrunk=2)
        where = np.float32(
            [
                [2, 0, -2 * (left - at[1]) * per_px + 0.5],
                [0, 2, -2 * (top - at[0]) * per_px + 0.5],
            ]
        )
        fine["hint"] = (_lifted(coarse["hint"], where) > 0.5).astype(np.float32)
        whole = taking.taken(coarse, rng, shrunk=2)
        parts = taking.taken(_turned(fine, turn), rng, shrunk=1)
        parts |= {f"coarse {name}": _padded(value) for name, value in whole.items()}
        return parts | {"where": where, "turn": np.float32(turn)}


def _cut(scene: Sample, window: tuple[slice, slice], side: int) -> Sample:
    """Return a window of a scene, side px wide and high."""
    parts = {n: scene[n][window].astype(np.float32) for n in ("soft", "sharp", "matte", "sitter")}
    was = window[0].stop - window[0].start
    if was != side:
        method = cv2.INTER_AREA if was > side else cv2.INTER_CUBIC
        parts = {n: cv2.resize(v, (side, side), interpolation=method) for n, v in parts.items()}
    parts["matte"] = np.clip(parts["matte"], 0, 1)
    parts["sitter"] = np.clip(parts["sitter"], 0, 1) * (1 - parts["matte"])
    return parts


def _turned(parts: Sample, turn: tuple[int, bool]) -> Sample:
    """Turn by quarters, then mirror or not."""
    turned = {n: np.rot90(v, turn[0]) for n, v in parts.items()}
    return {n: np.ascontiguousarray(v[:, ::-1] if turn[1] else v) for n, v in turned.items()}


def _lifted(coarse: NDArray[np.float32], where: NDArray[np.float32]) -> NDArray[np.float32]:
    """Bring a map of the surroundings at half the scale to the crop's grid."""
    return np.asarray(
        cv2.warpAffine(coarse, where, (_CROP, _CROP), borderMode=cv2.BORDER_REPLICATE), np.float32
    )


def _padded(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Repeat the last row and column up to the crop's size."""
    if values.ndim < 2:
        return values
    missing = _CROP - values.shape[0]
    return np.asarray(
        cv2.copyMakeBorder(values, 0, missing, 0, missing, cv2.BORDER_REPLICATE), np.float32
    )


class _Taking:
    """What the camera adds: exposure, errors of light and place, tone, grain."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.gain = np.exp(rng.uniform(-0.7, 0.9)) * np.exp(rng.normal(0, 0.12, 3))
        self.light = np.exp(rng.normal(0, 0.02, 3))
        self.mix = colour_mix(rng)
        self.power = rng.uniform(0.75, 1.35) if rng.uniform() < 0.3 else 1.0
        self.off_px = rng.normal(0, 0.4, 2) if rng.uniform() < 0.5 else np.zeros(2)
        self.grain = float(0.002 * np.exp(rng.uniform(0, 3)))
        self.smooth_px = rng.uniform(0.3, 0.6) if rng.uniform() < 0.7 else 0.0

    def taken(self, parts: Sample, rng: np.random.Generator, *, shrunk: int) -> Sample:
        """Return the parts as taken; shrunk: 2 at half the scale, where grain is half as strong."""
        side = parts["matte"].shape[0]
        soft = mixed(parts["soft"], self.mix) * self.gain
        sharp = mixed(parts["sharp"], self.mix) * self.gain * self.light
        if self.power != 1:
            soft, sharp = soft**self.power, sharp**self.power
        if self.off_px.any():
            off = self.off_px / shrunk
            move = np.float32([[1, 0, off[0]], [0, 1, off[1]]])
            soft = cv2.warpAffine(soft, move, (side, side), borderMode=cv2.BORDER_REFLECT)
        grain = self.grain / shrunk
        noisy = rng.standard_normal((side, side, 3), np.float32)
        if self.smooth_px:
            noisy = cv2.GaussianBlur(noisy, (0, 0), self.smooth_px)
        sharp = np.clip(sharp, 0, 1)
        sharp += grain * np.sqrt(sharp / 0.18 + 0.05) * noisy
        soft = np.clip(soft, 0, 1)
        soft += rng.uniform(0.001, 0.006) / shrunk * rng.standard_normal(soft.shape, np.float32)
        return parts | {
            "soft": np.clip(soft, 0, 1).astype(np.float32),
            "sharp": np.clip(sharp, 0, 1.05).astype(np.float32),
            "grain": np.float32(grain),
        }


def _hint(
    matte: NDArray[np.float32], rng: np.random.Generator, *, shrunk: int = 1
) -> NDArray[np.float32]:
    """Return a search region: wobbly and too wide, or everything."""
    if rng.uniform() < 0.35:
        return np.ones_like(matte)
    return wobbly_hint(matte, rng, shrunk=shrunk)


def _planes(parts: Sample, prior: NDArray[np.float32]) -> NDArray[np.float32]:
    scale = exposure_scale(parts["soft"])
    colour = colour_evidence(parts["sharp"], parts["hint"], scale)
    return network_planes(
        parts["soft"], parts["sharp"], parts["hint"], prior, colour, float(parts["grain"]), scale
    )


@dataclass(frozen=True, slots=True)
class Lift:
    """How a crop's surroundings lie on it: which crop, the map onto its grid, and how it turned."""

    index: int
    where: NDArray[np.float32]
    turn: tuple[int, bool]


@dataclass(frozen=True, slots=True)
class Batch:
    """Crops ready for the net: planes without priors, truths and hint, (batch, 1, side, side).

    coarse: planes of the surroundings that `lifts` speak of, in their order.
    """

    planes: torch.Tensor
    matte: torch.Tensor
    sitter: torch.Tensor
    hint: torch.Tensor
    coarse: torch.Tensor
    lifts: tuple[Lift, ...]


def _batch(scenes: Scenes, rng: np.random.Generator) -> Batch:
    crops = [
        scenes.crop(int(rng.integers(len(scenes))), rng, surrounded=k < _SURROUNDED)
        for k in range(_BATCH)
    ]
    bare = np.full((_CROP, _CROP), NO_PRIOR, np.float32)
    coarse, lifts = [np.zeros((0, PLANES, _CROP, _CROP), np.float32)], []
    for index, parts in enumerate(crops):
        if "where" in parts:
            names = ("soft", "sharp", "hint", "grain")
            coarse.append(_planes({n: parts[f"coarse {n}"] for n in names}, bare)[None])
            quarters, mirrored = (int(v) for v in parts["turn"])
            lifts.append(Lift(index, parts["where"], (quarters, bool(mirrored))))
    truths = (
        torch.from_numpy(np.stack([parts[name] for parts in crops]))[:, None]
        for name in ("matte", "sitter", "hint")
    )
    planes = torch.from_numpy(np.stack([_planes(parts, bare) for parts in crops]))
    return Batch(planes, *truths, torch.from_numpy(np.concatenate(coarse)), tuple(lifts))


def _matte(raw: torch.Tensor) -> torch.Tensor:
    return torch.clamp(1.04 * torch.sigmoid(raw[:, :1]) - 0.02, 0, 1)


def _with_priors(net: MatteNet, batch: Batch) -> torch.Tensor:
    """Return the planes of a batch; where its surroundings are known, with the net's own prior."""
    planes = batch.planes.clone()
    if batch.lifts:
        net.eval()
        with torch.no_grad():
            coarse = _matte(raw_maps(net, batch.coarse))[:, 0].numpy()
        net.train()
        for lift, value in zip(batch.lifts, coarse, strict=True):
            lifted = {"prior": _lifted(value, lift.where)}
            prior = _turned(lifted, lift.turn)["prior"] - NO_PRIOR
            planes[lift.index, PRIOR] = torch.from_numpy(prior)
    return planes


def _loss(matte: torch.Tensor, truth: torch.Tensor, hint: torch.Tensor) -> torch.Tensor:
    """Absolute error inside the hint, heavier at edges, plus that of the gradients."""
    edge = ((truth > 0.02) & (truth < 0.98)).float()
    weight = hint * (1 + 3 * edge + 1.0 * (truth > 0.5).float())
    plain = (weight * (matte - truth).abs()).sum() / weight.sum().clamp(min=1)
    slopes = 0.0
    for axis in (2, 3):
        slopes = (
            slopes
            + (
                (matte.diff(dim=axis) - truth.diff(dim=axis)).abs()
                * hint.narrow(axis, 1, _CROP - 1)
            ).mean()
        )
    return plain + slopes


def _batches(scenes: Scenes, seed: int) -> Iterator[Batch]:
    yield from fed(partial(_batch, scenes), seed)


def _validate(net: MatteNet, scenes: Scenes) -> str:
    """Return the mean absolute errors: of the matte inside the hint, of the zone in focus."""
    rng = np.random.default_rng(7)
    errors, others = [], []
    for _ in range(_JUDGED):
        batch = _batch(scenes, rng)
        planes = _with_priors(net, batch)
        net.eval()
        with torch.no_grad():
            found, zone = net(planes.to(memory_format=torch.channels_last)).split(1, dim=1)
        net.train()
        others.append(float((zone - batch.sitter).abs().mean()))
        inside = batch.hint > 0
        errors.append(float((found - batch.matte).abs()[inside].mean()))
    return f"{np.mean(errors):.4f} (zone in focus {np.mean(others):.4f})"


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.argument("target", type=click.Path(path_type=Path))
@click.option("--minutes", default=45.0)
@click.option("--seed", default=5)
@click.option("--rate", default=2e-3)
@click.option("--resume", type=click.Path(path_type=Path))
@click.option("--threads", default=2)
def main(
    folder: Path,
    target: Path,
    minutes: float,
    seed: int,
    rate: float,
    resume: Path | None,
    threads: int,
) -> None:
    """Train on the scenes in FOLDER and write TARGET (.onnx) and its weights (.pt) beside it."""
    torch.manual_seed(seed)
    torch.set_num_threads(threads)
    cv2.setNumThreads(1)
    files = sorted(folder.glob("*.npz"))
    held = Scenes(files[::10])
    scenes = Scenes([f for i, f in enumerate(files) if i % 10])
    net = MatteNet().to(memory_format=torch.channels_last)
    if resume:
        resumed(net, resume, (_with_priors(net, b) for b in _batches(scenes, seed + 1)))
        print(f"held-out error {_validate(net, held)} at the start", flush=True)
    optimiser = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=1e-4)
    mean = running_mean(net)
    began, step, running = time.time(), 0, 0.0
    for batch in _batches(scenes, seed):
        share = (time.time() - began) / max(60 * minutes, 1e-9)
        if share >= 1:
            break
        for group in optimiser.param_groups:
            group["lr"] = rate_at(share, step, rate)
        raw = raw_maps(net, _with_priors(net, batch))
        # Cross entropy: most places are not in focus in both, and an absolute error would settle
        # for saying so everywhere.
        zone = nn.functional.binary_cross_entropy_with_logits(raw[:, 1:], batch.sitter)
        loss = _loss(_matte(raw), batch.matte, batch.hint) + 0.2 * zone
        optimiser.zero_grad()
        loss.backward()
        optimiser.step()
        mean.update_parameters(net)
        now = float(loss.detach())
        running = 0.98 * running + 0.02 * now if step else now
        step += 1
        if step % 50 == 0:
            print(f"step {step}  {share:.0%}  loss {running:.4f}", flush=True)
        if step % 1000 == 0:
            averaged = cast("MatteNet", mean.module)
            print(f"held-out error {_validate(averaged, held)}", flush=True)
            _export(averaged, target)
    averaged = cast("MatteNet", mean.module)
    _settle(averaged, _batches(scenes, seed + 2))
    _export(averaged, target)
    print(f"held-out error {_validate(averaged, held)} after {step} steps")


def _settle(net: MatteNet, batches: Iterator[Batch], count: int = 60) -> None:
    """Take the normalisations' statistics over many batches: the last few say too little."""
    norms = [module for module in net.modules() if isinstance(module, nn.BatchNorm2d)]
    stacks = [_with_priors(net, next(batches)) for _ in range(count)]
    for norm in norms:
        norm.reset_running_stats()
        norm.momentum = None  # a plain mean over all batches
    net.train()
    with torch.no_grad():
        for planes in stacks:
            net(planes.to(memory_format=torch.channels_last))


def _export(net: MatteNet, target: Path) -> None:
    torch.save(net.state_dict(), target.with_suffix(".pt"))
    exported(net, target, planes=PLANES)
    net.train()


if __name__ == "__main__":
    main()

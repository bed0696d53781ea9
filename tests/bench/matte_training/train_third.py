"""Trains the network of the third look on what plates.py made and writes it as ONNX.

    python tests/bench/matte_training/plates.py SCENES PLATES
    python tests/bench/matte_training/train_third.py PLATES blendkit/masks/third_net.onnx

Needs PyTorch (CPU is enough), which the package itself does not.  Every twelfth scene is held out;
the lines "held out" print what is left there of a matte as the second look left it, of one held to
the plate by its variances, and of the network's: absolute and squared error of the matte, and
squared error of the light that is laid over the plate, a scene.
"""

import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import cast

import click
import cv2
import numpy as np
import torch
from learning import fed, rate_at, running_mean
from network import MatteNet, exported
from numpy.typing import NDArray
from resume import resumed
from torch import nn

from blendkit.filters.tiles import whole
from blendkit.masks.evidence import exposure_scale
from blendkit.masks.plate_term import hold_to_plate
from blendkit.masks.third_look import MATTE, OPEN, PLANES, Seen, third_planes

_WIDTHS = (14, 24, 40, 56)
_CROP, _BATCH = 144, 10
_SOFTNESS = 14

Array = NDArray[np.float32]


class Refined(nn.Module):
    """The net as what it changes of the matte that the second look kept."""

    def __init__(self, net: MatteNet) -> None:
        super().__init__()
        self.net = net

    def forward(self, planes: torch.Tensor) -> torch.Tensor:
        """Return the matte, (batch, 1, height, width)."""
        raw = self.net.raw(planes) + 5 * planes[:, MATTE : MATTE + 1]
        return torch.clamp(1.04 * torch.sigmoid(raw) - 0.02, 0, 1)


class Scenes:
    """What the third look sees of many scenes, kept in memory as half floats."""

    def __init__(self, files: list[Path]) -> None:
        self._scenes = [dict(np.load(file)) for file in files]

    def __len__(self) -> int:
        return len(self._scenes)

    def __iter__(self) -> Iterator[tuple[Seen, Array, Array, float]]:
        """Yield what is seen, where it may change, the truth and the grain of every scene."""
        for scene in self._scenes:
            yield self._part(scene, whole(scene["matte"].shape))

    def crop(self, rng: np.random.Generator) -> tuple[Array, Array]:
        """Return planes and truth of a part that may change, scaled, turned, in other light."""
        while True:
            scene = self._scenes[int(rng.integers(len(self._scenes)))]
            zoom = np.exp(rng.uniform(np.log(0.5), np.log(1.3))) if rng.uniform() < 0.6 else 1.0
            shape = scene["matte"].shape
            side = min(int(_CROP / zoom), *shape)
            top, left = (int(rng.integers(0, n - side + 1)) for n in shape)
            part = (slice(top, top + side), slice(left, left + side))
            if scene["open"][part].mean() > 0.02:
                break
        seen, open_, truth, grain = self._part(scene, part)
        scale = exposure_scale(np.asarray(scene["plate"], np.float32))
        scale *= float(np.exp(rng.normal(0, 0.15)))
        at = whole(open_.shape)
        planes = np.concatenate([third_planes(seen, open_ > 0, at, grain, scale), truth[None]])
        if side != _CROP:
            how = cv2.INTER_AREA if side > _CROP else cv2.INTER_LINEAR
            planes = np.stack([cv2.resize(p, (_CROP, _CROP), interpolation=how) for p in planes])
            planes[OPEN] = planes[OPEN] > 0.5
            softness = np.expm1(4 * (planes[_SOFTNESS] + 0.5)) * _CROP / side
            planes[_SOFTNESS] = np.log1p(np.maximum(softness, 0)) / 4 - 0.5
        planes = np.rot90(planes, int(rng.integers(4)), (1, 2))
        if rng.uniform() < 0.5:
            planes = planes[:, :, ::-1]
        planes = np.ascontiguousarray(planes, np.float32)
        return planes[:-1], planes[-1]

    @staticmethod
    def _part(
        scene: dict[str, NDArray[np.float16]], part: tuple[slice, slice]
    ) -> tuple[Seen, Array, Array, float]:
        names = Seen.__slots__
        seen = Seen(*(np.asarray(scene[n][part], np.float32) for n in names))
        open_, truth = (np.asarray(scene[n][part], np.float32) for n in ("open", "matte"))
        return seen, open_, truth, float(scene["grain"])


def _batch(scenes: Scenes, rng: np.random.Generator) -> tuple[torch.Tensor, torch.Tensor]:
    planes, truths = zip(*(scenes.crop(rng) for _ in range(_BATCH)), strict=True)
    return torch.from_numpy(np.stack(planes)), torch.from_numpy(np.stack(truths))


def _loss(matte: torch.Tensor, planes: torch.Tensor, truth: torch.Tensor) -> torch.Tensor:
    """Absolute and squared error where it may change, more where it would be seen.

    An error is seen by how far foreground frame and plate differ, and at edges.
    """
    apart = (planes[:, 0:3] - planes[:, 3:6]).abs().mean(1)
    edge = ((truth > 0.02) & (truth < 0.98)).float()
    weight = planes[:, OPEN] * (0.15 + 2 * apart) * (1 + edge)
    error = matte - truth
    plain = (weight * (error.abs() + 2 * error.square())).sum() / weight.sum().clamp(min=1)
    slopes = torch.zeros(())
    for axis in (1, 2):
        inside = planes[:, OPEN].narrow(axis, 1, _CROP - 1)
        slopes = slopes + ((matte.diff(dim=axis) - truth.diff(dim=axis)).abs() * inside).mean()
    return plain + slopes


def _validate(net: nn.Module, scenes: Scenes) -> str:
    """Return the errors of three mattes, a scene: absolute, squared, and of the light laid over."""
    net.eval()
    sums = np.zeros((3, 3))
    for seen, open_, truth, grain in scenes:
        inside = open_ > 0
        scale = exposure_scale(seen.plate)
        planes = third_planes(seen, inside, whole(truth.shape), grain, scale)
        with torch.no_grad():
            found = net(torch.from_numpy(planes[None]))[0, 0].numpy()
        held = hold_to_plate(
            seen.aligned, seen.plate.__getitem__, seen.kept, seen.color, inside, grain
        )
        apart = np.square(seen.aligned - seen.plate).mean(axis=2)
        for row, matte in enumerate((seen.kept, held, found)):
            error = np.abs(matte - truth)[inside]
            light = (np.square(error) * apart[inside]).sum()
            sums[row] += error.sum(), np.square(error).sum(), light
    net.train()
    rows = (" ".join(f"{v:.1f}" for v in row) for row in sums / max(len(scenes), 1))
    return ", ".join(f"{n} {r}" for n, r in zip(("kept", "held", "looked"), rows, strict=True))


@click.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.argument("target", type=click.Path(path_type=Path))
@click.option("--minutes", default=45.0)
@click.option("--seed", default=3)
@click.option("--rate", default=2.5e-3)
@click.option("--resume", type=click.Path(exists=True, dir_okay=False, path_type=Path))
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
    """Train on FOLDER and write TARGET (.onnx) and its weights (.pt) beside it."""
    torch.manual_seed(seed)
    torch.set_num_threads(threads)
    cv2.setNumThreads(1)
    files = sorted(folder.glob("*.npz"))
    held = Scenes(files[::12])
    batches = fed(partial(_batch, Scenes([f for i, f in enumerate(files) if i % 12])), seed)
    net = MatteNet(_WIDTHS, planes=PLANES, maps=1).to(memory_format=torch.channels_last)
    if resume:
        resumed(net, resume, (planes for planes, _ in batches))
    print(f"{len(held)} of {len(files)} held out: {_validate(Refined(net), held)}", flush=True)
    optimiser = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=1e-3)
    mean = running_mean(net)
    refined = Refined(net)
    began, step = time.time(), 0
    while (share := (time.time() - began) / max(60 * minutes, 1e-9)) < 1:
        for group in optimiser.param_groups:
            group["lr"] = rate_at(share, step, rate)
        planes, truth = next(batches)
        said = refined(planes.to(memory_format=torch.channels_last))[:, 0]
        loss = _loss(said, planes, truth)
        optimiser.zero_grad()
        loss.backward()
        optimiser.step()
        mean.update_parameters(net)
        step += 1
        if step % 500 == 0:
            averaged = Refined(cast("MatteNet", mean.module))
            print(f"step {step}  {share:.0%}  held out: {_validate(averaged, held)}", flush=True)
            exported(averaged, target, planes=PLANES)
            averaged.train()
    averaged = Refined(cast("MatteNet", mean.module))
    torch.save(averaged.net.state_dict(), target.with_suffix(".pt"))
    exported(averaged, target, planes=PLANES)
    print(f"after {step} steps  held out: {_validate(averaged, held)}")


if __name__ == "__main__":
    main()

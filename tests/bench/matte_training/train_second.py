"""Trains the network of the second look on what testimonies.py made and writes it as ONNX.

    python tests/bench/matte_training/testimonies.py SCENES TESTIMONIES
    python tests/bench/matte_training/train_second.py TESTIMONIES blendkit/masks/veil_net.onnx

Needs PyTorch (CPU is enough), which the package itself does not.  Every twelfth scene is held out;
the lines "held out" print the squared error of the matte left there, in px at half size a scene: of
the first look as it is, times the chance, with what is likely kept whole, and with the best factor.
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
from learning import fed, rate_at, raw_maps, running_mean
from network import MatteNet, exported
from numpy.typing import NDArray
from resume import resumed
from torch import nn

from blendkit.masks.second_look import MATTE, PLANES

_WIDTHS = (16, 28, 48, 72, 96)
_CROP, _BATCH = 128, 12
_THERE = 0.02

Array = NDArray[np.float32]


class Likely(nn.Module):
    """The net with its map as a chance, as it is exported."""

    def __init__(self, net: MatteNet) -> None:
        super().__init__()
        self.net = net

    def forward(self, planes: torch.Tensor) -> torch.Tensor:
        """Return the chance of foreground, (batch, 1, height, width)."""
        return torch.sigmoid(self.net.raw(planes))


class Seen:
    """What the second look sees of many scenes, kept in memory as half floats.

    soft: of those alone whose foreground is soft in its own frame.
    """

    def __init__(self, files: list[Path], *, soft: bool) -> None:
        self._scenes = []
        for file in files:
            with np.load(file) as stored:
                if soft and stored["factor"] == 1:
                    continue
                asked, matte = (stored[n].astype(np.float16) for n in ("planes", "matte"))
            self._scenes += [(planes, matte) for planes in asked]

    def __len__(self) -> int:
        return len(self._scenes)

    def __iter__(self) -> Iterator[tuple[Array, Array]]:
        """Yield planes and matte of every question, whole."""
        for planes, matte in self._scenes:
            yield planes.astype(np.float32), matte.astype(np.float32)

    def crop(self, rng: np.random.Generator) -> tuple[Array, Array]:
        """Return planes and matte of a part that holds foreground, scaled, turned, relit."""
        while True:
            planes, matte = self._scenes[int(rng.integers(len(self._scenes)))]
            zoom = np.exp(rng.uniform(np.log(0.62), np.log(1.25))) if rng.uniform() < 0.6 else 1.0
            side = min(int(_CROP / zoom), *matte.shape)
            top, left = (int(rng.integers(0, n - side + 1)) for n in matte.shape)
            part = (slice(top, top + side), slice(left, left + side))
            if planes[MATTE][part].astype(np.float32).mean() > 0.004:
                break
        seen, truth = planes[:, *part].astype(np.float32), matte[part].astype(np.float32)
        if side != _CROP:
            how = cv2.INTER_AREA if side > _CROP else cv2.INTER_LINEAR
            seen = np.stack([cv2.resize(p, (_CROP, _CROP), interpolation=how) for p in seen])
            truth = np.asarray(cv2.resize(truth, (_CROP, _CROP), interpolation=how), np.float32)
        quarters = int(rng.integers(4))
        seen, truth = np.rot90(seen, quarters, (1, 2)), np.rot90(truth, quarters)
        if rng.uniform() < 0.5:
            seen, truth = seen[:, :, ::-1], truth[:, ::-1]
        seen = np.ascontiguousarray(seen)
        if rng.uniform() < 0.5:
            seen[:6] += np.float32(rng.normal(0, 0.03))
        return seen, np.ascontiguousarray(truth)


def _batch(seen: Seen, rng: np.random.Generator) -> tuple[torch.Tensor, torch.Tensor]:
    planes, truths = zip(*(seen.crop(rng) for _ in range(_BATCH)), strict=True)
    return torch.from_numpy(np.stack(planes)), torch.from_numpy(np.stack(truths))


def _loss(said: torch.Tensor, matte: torch.Tensor, truth: torch.Tensor) -> torch.Tensor:
    """Cross entropy plus squared error of the chance, where a matte was proposed.

    Parts with little of it count nearly as much as parts that are full of it.
    """
    weight = matte * (matte > _THERE)
    weight = weight / (weight.mean((1, 2), keepdim=True) + 0.02)
    share = torch.clamp(truth / torch.clamp(matte, min=_THERE), 0, 1)
    entropy = nn.functional.binary_cross_entropy_with_logits(said, share, reduction="none")
    square = torch.square(torch.sigmoid(said) - share)
    return (weight * (entropy + square)).sum() / weight.sum()


def _validate(net: MatteNet, scenes: Seen) -> str:
    """Return the squared errors a scene: first look, times the chance, kept or not, best factor."""
    net.eval()
    sums = np.zeros(4)
    for planes, truth in scenes:
        padding = ((0, 0), (0, -planes.shape[1] % 16), (0, -planes.shape[2] % 16))
        with torch.no_grad():
            said = net.raw(torch.from_numpy(np.pad(planes, padding, mode="edge")[None]))
        chance = torch.sigmoid(said)[0, 0, : truth.shape[0], : truth.shape[1]].numpy()
        matte = planes[MATTE]
        best = np.clip(truth / np.maximum(matte, _THERE), 0, 1)
        there = matte > _THERE
        for index, factor in enumerate((1, chance, chance > 0.5, best)):
            sums[index] += np.square(matte * factor - truth)[there].sum()
    net.train()
    return "first look {:.1f}, times chance {:.1f}, kept or not {:.1f}, best {:.1f}".format(
        *(sums / max(len(scenes), 1))
    )


@click.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.argument("target", type=click.Path(path_type=Path))
@click.option("--minutes", default=45.0)
@click.option("--seed", default=3)
@click.option("--rate", default=2.5e-3)
@click.option("--resume", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--threads", default=2)
@click.option("--soft", is_flag=True, help="only foreground that is soft in its own frame")
def main(
    folder: Path,
    target: Path,
    minutes: float,
    seed: int,
    rate: float,
    resume: Path | None,
    threads: int,
    *,
    soft: bool,
) -> None:
    """Train on FOLDER and write TARGET (.onnx) and its weights (.pt) beside it."""
    torch.manual_seed(seed)
    torch.set_num_threads(threads)
    cv2.setNumThreads(1)
    files = sorted(folder.glob("*.npz"))
    held = Seen(files[::12], soft=soft)
    shown = Seen([f for i, f in enumerate(files) if i % 12], soft=soft)
    batches = fed(partial(_batch, shown), seed)
    net = MatteNet(_WIDTHS, planes=PLANES, maps=1).to(memory_format=torch.channels_last)
    if resume:
        resumed(net, resume, (planes for planes, _ in batches))
        print(f"at the start  held out: {_validate(net, held)}", flush=True)
    optimiser = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=1e-3)
    mean = running_mean(net)
    began, step = time.time(), 0
    while (share := (time.time() - began) / max(60 * minutes, 1e-9)) < 1:
        for group in optimiser.param_groups:
            group["lr"] = rate_at(share, step, rate)
        planes, truth = next(batches)
        said = raw_maps(net, planes)[:, 0]
        loss = _loss(said, planes[:, MATTE], truth)
        optimiser.zero_grad()
        loss.backward()
        optimiser.step()
        mean.update_parameters(net)
        step += 1
        if step % 500 == 0:
            averaged = cast("MatteNet", mean.module)
            print(f"step {step}  {share:.0%}  held out: {_validate(averaged, held)}", flush=True)
    averaged = cast("MatteNet", mean.module)
    torch.save(averaged.state_dict(), target.with_suffix(".pt"))
    exported(Likely(averaged), target, planes=PLANES)
    print(f"after {step} steps  held out: {_validate(averaged, held)}")


if __name__ == "__main__":
    main()

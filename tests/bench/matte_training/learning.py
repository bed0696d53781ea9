"""What the three trainings share: batches from a second process, half precision, rate and mean."""

from collections.abc import Callable, Iterator
from typing import Generic, TypeVar

import cv2
import numpy as np
import torch
from torch import nn
from torch.optim.swa_utils import AveragedModel, get_ema_multi_avg_fn
from torch.utils.data import DataLoader, IterableDataset

Batch = TypeVar("Batch")

_KEPT_A_STEP = 0.998
_AHEAD = 4
_WARM_STEPS, _LEAST_RATE = 50, 0.02
_HAS_HALVES = torch.cpu._is_avx512_bf16_supported() or torch.cpu._is_amx_tile_supported()


class _Endless(IterableDataset[Batch], Generic[Batch]):
    def __init__(self, make: Callable[[np.random.Generator], Batch], seed: int) -> None:
        super().__init__()
        self._make, self._seed = make, seed

    def __iter__(self) -> Iterator[Batch]:
        cv2.setNumThreads(1)
        rng = np.random.default_rng(self._seed)
        while True:
            yield self._make(rng)


def fed(make: Callable[[np.random.Generator], Batch], seed: int) -> Iterator[Batch]:
    """Yield batches without end, made by a second process while the first one learns."""
    yield from DataLoader(
        _Endless(make, seed),
        batch_size=None,
        num_workers=1,
        prefetch_factor=_AHEAD,
        multiprocessing_context="fork",
    )


def raw_maps(net: nn.Module, planes: torch.Tensor) -> torch.Tensor:
    """Return `net.raw(planes)`; at half precision where the processor has it, in half the time.

    Where it has to act as if, half precision takes twice the time.
    """
    with torch.autocast("cpu", torch.bfloat16, enabled=_HAS_HALVES):
        raw: torch.Tensor = net.raw(planes.to(memory_format=torch.channels_last))
    return raw.float()


def rate_at(share: float, step: int, rate: float) -> float:
    """Return the rate of a step: a short rise, then a quarter of a cosine down."""
    return float(
        rate * min(1, (step + 1) / _WARM_STEPS) * max(np.cos(share * np.pi / 2), _LEAST_RATE)
    )


def running_mean(net: nn.Module) -> AveragedModel:
    """Return the running mean of a net's weights: figures of single steps wander, its do not."""
    return AveragedModel(net, multi_avg_fn=get_ema_multi_avg_fn(_KEPT_A_STEP), use_buffers=True)

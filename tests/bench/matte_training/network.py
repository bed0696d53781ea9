"""The matte network: a small U-shaped net, about 750,000 weights, that runs anywhere.

After Ronneberger, Fischer & Brox (2015), doi:10.1007/978-3-319-24574-4_28, with sums in place of
concatenation on the way up, so that full-size layers stay narrow.
"""

from itertools import pairwise

import torch
from torch import nn

from blendkit.masks.evidence import PLANES

WIDTHS = (16, 28, 56, 96, 144)


def _pair(inputs: int, outputs: int) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, padding=1),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
        nn.Conv2d(outputs, outputs, 3, padding=1),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


class MatteNet(nn.Module):
    """(batch, PLANES, height, width), sides divisible by 16 -> (batch, 2, height, width).

    The first map is the matte, the second the zone in focus in both frames, where nothing hides it.
    """

    def __init__(self, widths: tuple[int, ...] = WIDTHS) -> None:
        super().__init__()
        self.down = nn.ModuleList(
            [_pair(PLANES, widths[0])] + [_pair(a, b) for a, b in pairwise(widths)]
        )
        self.narrow = nn.ModuleList([nn.Conv2d(b, a, 1) for a, b in pairwise(widths)])
        self.up = nn.ModuleList([_pair(a, a) for a in widths[:-1]])
        self.out = nn.Conv2d(widths[0], 2, 3, padding=1)

    def forward(self, planes: torch.Tensor) -> torch.Tensor:
        """Return the maps."""
        # A little slack past 0 and 1: a sigmoid never quite arrives at clean sky or solid bark.
        return torch.clamp(1.04 * torch.sigmoid(self.raw(planes)) - 0.02, 0, 1)

    def raw(self, planes: torch.Tensor) -> torch.Tensor:
        """Return the maps before they are squeezed into 0 to 1."""
        kept = []
        values = planes
        for index, step in enumerate(self.down):
            values = step(values if index == 0 else nn.functional.max_pool2d(values, 2))
            kept.append(values)
        for index in reversed(range(len(self.up))):
            lifted = nn.functional.interpolate(
                self.narrow[index](values), scale_factor=2, mode="bilinear", align_corners=False
            )
            values = self.up[index](kept[index] + lifted)
        return self.out(values)

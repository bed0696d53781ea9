"""The U-shaped net of both looks: about 765,000 weights for the first, 440,000 for the second.

After Ronneberger, Fischer & Brox (2015), doi:10.1007/978-3-319-24574-4_28, with sums in place of
concatenation on the way up, so that full-size layers stay narrow.
"""

from itertools import pairwise
from pathlib import Path

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
    """(batch, planes, height, width), sides divisible by 16 -> (batch, maps, height, width).

    In the first look the first map is the matte, the second the zone in focus in both frames, where
    nothing hides it.
    """

    def __init__(
        self, widths: tuple[int, ...] = WIDTHS, *, planes: int = PLANES, maps: int = 2
    ) -> None:
        super().__init__()
        self.down = nn.ModuleList(
            [_pair(planes, widths[0])] + [_pair(a, b) for a, b in pairwise(widths)]
        )
        self.narrow = nn.ModuleList([nn.Conv2d(b, a, 1) for a, b in pairwise(widths)])
        self.up = nn.ModuleList([_pair(a, a) for a in widths[:-1]])
        self.out = nn.Conv2d(widths[0], maps, 3, padding=1)

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


def exported(net: nn.Module, target: Path, *, planes: int) -> None:
    """Write a net that takes so many planes as ONNX."""
    net.eval()
    torch.onnx.export(
        net,
        (torch.zeros(1, planes, 64, 64),),
        str(target),
        input_names=["planes"],
        output_names=["maps"],
        dynamic_axes={"planes": {0: "n", 2: "h", 3: "w"}, "maps": {0: "n", 2: "h", 3: "w"}},
        dynamo=False,
        opset_version=13,
    )

"""Takes up a network where its training ended: PyTorch's own weights, or what ships as ONNX.

The export folds each batch normalisation into its convolution.  To train on, it is unfolded:
normalisation by the mean and deviation that a few batches show, undone by its own weights.
"""

from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import onnx
import torch
from network import MatteNet
from torch import nn

_BATCHES = 6


def resumed(net: MatteNet, source: Path, batches: Iterator[torch.Tensor]) -> None:
    """Load weights, those of a narrower net too; batches: planes to measure normalisations by.

    Planes that the stored net does not know stand behind those that it knows.
    """
    if source.suffix != ".onnx":
        _widened(net, torch.load(source))
        return
    stored = onnx.load(str(source)).graph.initializer
    values = {
        v.name.removeprefix("net."): torch.from_numpy(onnx.numpy_helper.to_array(v).copy())
        for v in stored
    }
    folded = [value for name, value in values.items() if name.startswith("onnx::Conv")]
    depth = len(net.down)
    widths = tuple(len(weight) for weight in folded[: 4 * depth : 4])
    known = folded[0].shape[1]
    narrow = MatteNet(widths, planes=known, maps=len(values["out.weight"]))
    _refolded(narrow, values, folded, (planes[:, :known] for planes in batches))
    _widened(net, narrow.state_dict())


def _refolded(
    net: MatteNet,
    values: dict[str, torch.Tensor],
    folded: list[torch.Tensor],
    batches: Iterator[torch.Tensor],
) -> None:
    """Give a net of the stored one's widths its weights."""
    steps = [*net.down, *reversed(net.up)]
    convolutions = [(step[k], step[k + 1]) for step in steps for k in (0, 3)]
    with torch.no_grad():
        for (conv, _), weight, bias in zip(convolutions, folded[::2], folded[1::2], strict=True):
            conv.weight.copy_(weight)
            conv.bias.copy_(bias)
        own = net.state_dict()
        for name in own.keys() & values.keys():
            own[name][: len(values[name])].copy_(values[name])
    _unfold(net, convolutions, batches)


def _widened(net: MatteNet, stored: dict[str, torch.Tensor]) -> None:
    """Load the weights of a net that may be narrower, so that the wider one does the same at first.

    What is new reads the old channels by random weights, and is not yet read by them.
    """
    own = net.state_dict()
    with torch.no_grad():
        for name, value in stored.items():
            corner = tuple(slice(n) for n in value.shape)
            if value.ndim == 4:
                own[name][: value.shape[0], value.shape[1] :] = 0
            own[name][corner] = value


def _unfold(
    net: MatteNet,
    convolutions: list[tuple[nn.Conv2d, nn.BatchNorm2d]],
    batches: Iterator[torch.Tensor],
) -> None:
    """Give each normalisation the statistics of its input, and weights that undo it."""
    seen: dict[nn.Module, list[torch.Tensor]] = {norm: [] for _, norm in convolutions}

    def note(norm: nn.Module, inputs: tuple[torch.Tensor, ...]) -> None:
        seen[norm].append(inputs[0].transpose(0, 1).flatten(1)[:, ::7])

    hooks = [norm.register_forward_pre_hook(note) for _, norm in convolutions]
    net.eval()
    for norm in seen:  # As exported: nothing but the convolution.
        norm.running_mean.zero_()
        norm.running_var.fill_(1 - norm.eps)
    with torch.no_grad():
        for planes in islice(batches, _BATCHES):
            net.eval()
            net(planes)
    for hook in hooks:
        hook.remove()
    with torch.no_grad():
        for norm, parts in seen.items():
            values = torch.cat(parts, dim=1)
            mean, var = values.mean(1), values.var(1)
            norm.running_mean.copy_(mean)
            norm.running_var.copy_(var)
            norm.weight.copy_((var + norm.eps).sqrt())
            norm.bias.copy_(mean)
    net.train()

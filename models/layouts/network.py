"""The network: an encoder and decoder ("U-Net", MICCAI 2015) that also looks along whole rows and columns.

A heading tells what the boxes far below it mean, and a rule's style on one side of the table what is a row on
the other: strips of the whole height and width are pooled (Hou, Zhang, Cheng, Feng, "Strip Pooling", CVPR 2020).
"""

import torch
from torch import nn
from torch.nn import functional

from models.layouts.targets import KINDS

_WIDE = (16, 32, 64, 112, 144, 160)
_BLOCKS = (0, 1, 2, 2, 2)
_UP = (128, 80, 48, 32, 24)
_STRIPS_FROM = 2
"""Stages (of eight pixels and coarser) after which strips are pooled."""
MAPS = len(KINDS) + 2
"""A logit for every kind, then one for *core* (well inside a box) and one for *pence*."""


def _unit(inputs: int, outputs: int, stride: int = 1) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, stride, padding=1, bias=False), nn.BatchNorm2d(outputs), nn.ReLU()
    )


class _Residual(nn.Module):
    def __init__(self, channels: int, dilation: int = 1) -> None:
        super().__init__()
        self.first = _unit(channels, channels)
        self.second = nn.Sequential(
            nn.Conv2d(channels, channels, 3, padding=dilation, dilation=dilation, bias=False),
            nn.BatchNorm2d(channels),
        )

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return functional.relu(x + self.second(self.first(x)))


class _Strips(nn.Module):
    """What stands anywhere in a place's row or column is known at the place."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.down = nn.Conv2d(2 * channels, channels, (1, 3), padding=(0, 1))
        self.along = nn.Conv2d(2 * channels, channels, (3, 1), padding=(1, 0))
        self.join = nn.Sequential(nn.Conv2d(2 * channels, channels, 1, bias=False), nn.BatchNorm2d(channels))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        column = self.down(torch.cat([x.mean(2, keepdim=True), x.amax(2, keepdim=True)], 1))
        row = self.along(torch.cat([x.mean(3, keepdim=True), x.amax(3, keepdim=True)], 1))
        both = functional.relu(torch.cat([column.expand_as(x), row.expand_as(x)], 1))
        return functional.relu(x + self.join(both))


class BoxFinder(nn.Module):
    """``(N, 3, H, W)`` RGB 0–255, H and W multiples of 32 → ``(N, MAPS, H / 2, W / 2)`` logits."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = _unit(3, _WIDE[0], 2)
        stages = []
        for k, (a, b, n) in enumerate(zip(_WIDE[:-1], _WIDE[1:], _BLOCKS, strict=True)):
            parts: list[nn.Module] = [_unit(a, b, 2 if k < len(_WIDE) - 2 else 1)]
            parts += [_Residual(b, 1 + 2 * (k >= _STRIPS_FROM) * (j % 2)) for j in range(n)]
            if k >= _STRIPS_FROM:
                parts.append(_Strips(b))
            stages.append(nn.Sequential(*parts))
        self.down = nn.ModuleList(stages)
        inputs = (_WIDE[-1], *_UP[:-1])
        self.up = nn.ModuleList(
            _unit(a + skip, b) for a, skip, b in zip(inputs, _WIDE[-2::-1], _UP, strict=True)
        )
        self.again = nn.Sequential(_Residual(_UP[1]), _Strips(_UP[1]))
        self.head = nn.Conv2d(_UP[-1], MAPS, 3, padding=1)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        x = self.stem((x - 160.0) / 64.0)
        seen = [x]
        for stage in self.down:
            x = stage(x)
            seen.append(x)
        x = seen.pop()
        for k, stage in enumerate(self.up):
            skip = seen.pop()
            if skip.shape[2] != x.shape[2]:
                x = functional.interpolate(x, scale_factor=2.0, mode="bilinear", align_corners=False)
            x = stage(torch.cat([x, skip], 1))
            if k == 1:
                x = self.again(x)
        return self.head(x)


class Shipped(nn.Module):
    """The network with probabilities for logits: what goes into the ONNX file."""

    def __init__(self, finder: BoxFinder) -> None:
        super().__init__()
        self.finder = finder

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        logits = self.finder(x)
        kinds, rest = logits[:, : len(KINDS)], logits[:, len(KINDS) :]
        return torch.cat([torch.softmax(kinds, 1), torch.sigmoid(rest)], 1)

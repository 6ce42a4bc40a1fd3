"""The finder: a small encoder and decoder (Ronneberger, Fischer, Brox, "U-Net", MICCAI 2015)."""

import torch
from torch import nn
from torch.nn import functional

_WIDE = (20, 40, 72, 112, 144)
_BLOCKS = (1, 2, 2, 2)
_UP = (96, 64, 40, 24)
LABELS = 3
"""Slip, outline, core, as ``models.sheets.scenes`` draws them."""


def _unit(inputs: int, outputs: int, stride: int = 1) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, stride, padding=1, bias=False), nn.BatchNorm2d(outputs), nn.ReLU()
    )


class _Residual(nn.Module):
    def __init__(self, channels: int) -> None:
        super().__init__()
        self.first = _unit(channels, channels)
        self.second = nn.Sequential(
            nn.Conv2d(channels, channels, 3, padding=1, bias=False), nn.BatchNorm2d(channels)
        )

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return functional.relu(x + self.second(self.first(x)))


class _Context(nn.Module):
    """Far-apart places meet: dilated convolutions at the coarsest level."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.parts = nn.ModuleList(
            nn.Sequential(
                nn.Conv2d(channels, channels // 2, 3, padding=d, dilation=d, bias=False),
                nn.BatchNorm2d(channels // 2),
                nn.ReLU(),
            )
            for d in (1, 3, 6)
        )
        self.join = nn.Conv2d(channels // 2 * 3, channels, 1)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return functional.relu(x + self.join(torch.cat([part(x) for part in self.parts], 1)))


class Finder(nn.Module):
    """``(N, 3, H, W)`` RGB 0–255, H and W multiples of 32 → ``(N, 3, H / 2, W / 2)`` logits."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = _unit(3, _WIDE[0], 2)
        self.down = nn.ModuleList(
            nn.Sequential(_unit(a, b, 2), *(_Residual(b) for _ in range(n)))
            for a, b, n in zip(_WIDE[:-1], _WIDE[1:], _BLOCKS, strict=True)
        )
        self.context = _Context(_WIDE[-1])
        inputs = (_WIDE[-1], *_UP[:-1])
        self.up = nn.ModuleList(
            _unit(a + skip, b) for a, skip, b in zip(inputs, _WIDE[-2::-1], _UP, strict=True)
        )
        self.head = nn.Conv2d(_UP[-1], LABELS, 3, padding=1)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        x = self.stem((x - 140.0) / 64.0)
        seen = [x]
        for stage in self.down:
            x = stage(x)
            seen.append(x)
        x = self.context(seen.pop())
        for stage in self.up:
            x = functional.interpolate(x, scale_factor=2.0, mode="bilinear", align_corners=False)
            x = stage(torch.cat([x, seen.pop()], 1))
        return self.head(x)


class Shipped(nn.Module):
    """The finder with probabilities for logits: what goes into the ONNX file."""

    def __init__(self, finder: Finder) -> None:
        super().__init__()
        self.finder = finder

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return torch.sigmoid(self.finder(x))

"""The networks: a small reader for every box, and the large teacher that it learns from, for those in doubt."""

from dataclasses import dataclass

import torch
from torch import nn
from torch.nn import functional

CLASSES = 21
"""CTC blank and the 20 signs of ``formread.reading.recogniser.ALPHABET``."""


@dataclass(frozen=True, slots=True)
class Size:
    """Channels of the three picture stages, residual blocks in each, and the width of the reader of rows.

    `along` residual blocks stand between the two and look along the row only.
    """

    channels: tuple[int, int, int]
    blocks: tuple[int, int, int]
    features: int
    recurrent: int
    layers: int = 1
    dropout: float = 0.1
    along: int = 0


READER = Size((32, 64, 128), (1, 2, 1), 256, 128, dropout=0.05, along=2)
TEACHER = Size((64, 128, 224), (2, 2, 3), 384, 224, layers=2, dropout=0.2)
SIZES = {"teacher": TEACHER, "reader": READER}
PROBE = Size((32, 64, 128), (1, 1, 1), 192, 128)
"""Small and quick to train: one for each row of the ablation table."""


def _unit(
    inputs: int, outputs: int, stride: tuple[int, int] = (1, 1), window: tuple[int, int] = (3, 3)
) -> nn.Sequential:
    padding = (window[0] // 2, window[1] // 2)
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, window, stride, padding, bias=False), nn.BatchNorm2d(outputs), nn.ReLU()
    )


class _Residual(nn.Module):
    """Two convolutions with a bridge over them (He et al. 2016)."""

    def __init__(self, channels: int, window: tuple[int, int] = (3, 3)) -> None:
        super().__init__()
        self.first = _unit(channels, channels, window=window)
        self.second = _unit(channels, channels, window=window)[:2]

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return functional.relu(x + self.second(self.first(x)))


class Network(nn.Module):
    """``(N, 1, 40, W)`` ink in 0–1 → ``(N, W / 4, CLASSES)`` logits."""

    def __init__(self, size: Size) -> None:
        super().__init__()
        a, b, c = size.channels
        parts: list[nn.Module] = [_unit(1, a, (2, 2)), _unit(a, a)]
        parts += [_Residual(a) for _ in range(size.blocks[0] - 1)]
        parts += [_unit(a, b, (2, 2)), *(_Residual(b) for _ in range(size.blocks[1]))]
        parts += [_unit(b, c, (2, 1)), *(_Residual(c) for _ in range(size.blocks[2]))]
        parts += [
            nn.Dropout(size.dropout / 2),
            nn.Conv2d(c, size.features, (5, 1), bias=False),
            nn.BatchNorm2d(size.features),
            nn.ReLU(),
            *(_Residual(size.features, (1, 3)) for _ in range(size.along)),
        ]
        self.picture = nn.Sequential(*parts)
        self.row = nn.LSTM(
            size.features,
            size.recurrent,
            size.layers,
            bidirectional=True,
            dropout=size.dropout if size.layers > 1 else 0.0,
        )
        self.drop = nn.Dropout(size.dropout)
        self.head = nn.Linear(2 * size.recurrent, CLASSES)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        steps = self.picture(x).squeeze(2).permute(2, 0, 1)
        return self.head(self.drop(self.row(steps)[0])).transpose(0, 1)


class Shipped(nn.Module):
    """A network whose answer is normalised: what goes into the ONNX file."""

    def __init__(self, network: Network) -> None:
        super().__init__()
        self.network = network

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return functional.log_softmax(self.network(x), dim=2)

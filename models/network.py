"""The networks: a small reader that ships, and a large teacher that it learns from."""

from dataclasses import dataclass

import torch
from torch import nn
from torch.nn import functional

CLASSES = 21
"""CTC blank and the 20 signs of ``formread.reading.recogniser.ALPHABET``."""


@dataclass(frozen=True, slots=True)
class Size:
    """Channels of the three picture stages, residual blocks in each, and the width of the reader of rows."""

    channels: tuple[int, int, int]
    blocks: tuple[int, int, int]
    features: int
    recurrent: int
    layers: int = 1
    dropout: float = 0.1


READER = Size((32, 80, 160), (1, 2, 2), 256, 160, dropout=0.05)
TEACHER = Size((64, 128, 224), (2, 2, 3), 384, 224, layers=2, dropout=0.2)
SIZES = {"teacher": TEACHER, "reader": READER}
PROBE = Size((32, 64, 128), (1, 1, 1), 192, 128)
"""Small and quick to train: one for each row of the ablation table."""


def _unit(inputs: int, outputs: int, stride: tuple[int, int]) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, stride, padding=1, bias=False), nn.BatchNorm2d(outputs), nn.ReLU()
    )


class _Residual(nn.Module):
    """Two convolutions with a bridge over them (He et al. 2016)."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.first = _unit(channels, channels, (1, 1))
        self.second = nn.Sequential(
            nn.Conv2d(channels, channels, 3, padding=1, bias=False), nn.BatchNorm2d(channels)
        )

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return functional.relu(x + self.second(self.first(x)))


class Network(nn.Module):
    """``(N, 1, 40, W)`` ink in 0–1 → ``(N, W / 4, CLASSES)`` logits."""

    def __init__(self, size: Size) -> None:
        super().__init__()
        a, b, c = size.channels
        parts: list[nn.Module] = [_unit(1, a, (2, 2)), _unit(a, a, (1, 1))]
        parts += [_Residual(a) for _ in range(size.blocks[0] - 1)]
        parts += [_unit(a, b, (2, 2)), *(_Residual(b) for _ in range(size.blocks[1]))]
        parts += [_unit(b, c, (2, 1)), *(_Residual(c) for _ in range(size.blocks[2]))]
        parts += [
            nn.Dropout(size.dropout / 2),
            nn.Conv2d(c, size.features, (5, 1), bias=False),
            nn.BatchNorm2d(size.features),
            nn.ReLU(),
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

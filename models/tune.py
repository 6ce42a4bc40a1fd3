"""Teach trained weights what they had not met: ``python -m models.tune reader FROM.pt TO.pt INK.npz``, on a processor.

A drop of training beside ``models.train``: one process draws boxes and learns. Boxes with a frame round them, slashes
and elevens come more often than others. Where the network as it first was reads a box rightly it is held to what it
said then, and where it does not only the label counts, so that little is unlearned, and the small network keeps its
signs on the steps of the large one. Norms keep their statistics.
"""

import argparse
import copy
import math
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import torch
from torch import nn
from torch.nn import functional

from models.camera import MADE, Box, Grain, forms_print, scene
from models.compose import Hands
from models.network import SIZES, Network
from models.train import augment, barred_texts, encode, greedy, losses, pack

_ORDINARY = 0.6  # share kept of the boxes that hold nothing new
_WIDEST = 288  # columns; what is wider comes too seldom to fill a batch
_DECAY = 0.98  # of the moving average of the weights that is kept: a short course
_WARM = 40  # steps from no learning rate to the full one
_EVERY = 50  # steps between reports


def load(path: Path, size: str) -> Network:
    """Return a network as training left it."""
    network = Network(SIZES[size])
    state: dict[str, Any] = torch.load(path, map_location="cpu", weights_only=True)
    network.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in state.items()})
    return network.eval()


def is_new(box: Box) -> bool:
    """Say whether a box holds what earlier training had hardly met."""
    framed = bool(box.made >> MADE.index("frame") & 1)
    return framed or "/" in box.label or box.label == "11"


def batches(
    archive: Path, size: int, rng: np.random.Generator
) -> Iterator[tuple[torch.Tensor, list[str], npt.NDArray[np.bool_]]]:
    """Yield pictures of one width ``(N, 1, 40, W)``, their labels, and which hold something new; without end."""
    hands, grain, signs = Hands(archive, "train", barred_texts(archive)), Grain(rng), forms_print()
    waiting: dict[int, list[tuple[npt.NDArray[np.uint8], str, bool]]] = {}
    while True:
        box = scene(hands, grain, signs, rng)
        new = is_new(box)
        if not new and rng.random() > _ORDINARY:
            continue
        for width, (pictures, _, _) in pack([box]).items():
            if width > _WIDEST:
                continue
            own = waiting.setdefault(width, [])
            own.append((pictures[0], box.label, new))
            if len(own) == size:
                x = torch.from_numpy(np.stack([picture for picture, _, _ in own])).float()[:, None] / 255
                yield augment(x), [label for _, label, _ in own], np.array([fresh for _, _, fresh in own])
                own.clear()


def tune(options: argparse.Namespace) -> None:
    """Train for `options.seconds` and write the averaged weights."""
    began = time.time()
    torch.set_num_threads(1)
    cv2.setNumThreads(1)
    torch.manual_seed(options.seed)
    network = load(options.start, options.network)
    first, average = copy.deepcopy(network).requires_grad_(False), copy.deepcopy(network)
    if options.first:
        first = load(options.first, options.network).requires_grad_(False)
    network.train()
    for module in network.modules():
        if isinstance(module, nn.BatchNorm2d):
            module.eval()
    optimiser = torch.optim.AdamW(network.parameters(), lr=options.rate, weight_decay=0.01)
    right = np.zeros((2, 3))  # by new or not: boxes, read rightly at first, read rightly now
    for step, (x, labels, new) in enumerate(
        batches(options.ink, options.batch, np.random.default_rng(options.seed))
    ):
        spent = (time.time() - began) / options.seconds
        if spent >= 1:
            break
        classes = torch.from_numpy(np.stack([encode(label) for label in labels])).long()
        with torch.no_grad():
            before = torch.log_softmax(first(x), 2)
        known = torch.tensor([a == b for a, b in zip(greedy(before), labels, strict=True)])
        now = torch.log_softmax(network(x), 2)
        each = losses(now, classes, (classes > 0).sum(1), cap=True)
        lean = functional.kl_div(now, before, reduction="none", log_target=True).sum((1, 2))
        for group in optimiser.param_groups:
            group["lr"] = options.rate * min(1, (step + 1) / _WARM) * 0.5 * (1 + math.cos(math.pi * spent))
        optimiser.zero_grad()
        torch.where(known, 0.5 * each + 0.5 * lean, each).mean().backward()
        nn.utils.clip_grad_norm_(network.parameters(), 2.0)
        optimiser.step()
        with torch.no_grad():
            keep = min(_DECAY, (step + 1) / (step + 11))
            for kept, moved in zip(average.parameters(), network.parameters(), strict=True):
                kept.lerp_(moved, 1 - keep)
        said = np.array([a == b for a, b in zip(greedy(now.detach()), labels, strict=True)])
        for kind in (0, 1):
            own = new == bool(kind)
            right[kind] += own.sum(), (known.numpy() & own).sum(), (said & own).sum()
        if step % _EVERY == _EVERY - 1:
            shares = right[:, 1:] / np.maximum(right[:, :1], 1)
            print(
                f"{time.time() - began:5.0f} s  step {step + 1}  old {shares[0]}  new {shares[1]}", flush=True
            )
            right[:] = 0
            torch.save(average.state_dict(), options.target)
    torch.save(average.state_dict(), options.target)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("network", choices=sorted(SIZES))
    parser.add_argument("start", type=Path)
    parser.add_argument("target", type=Path)
    parser.add_argument("ink", type=Path)
    parser.add_argument("--first", type=Path, help="the network as it first was, where START is a tuned one")
    parser.add_argument("--seconds", type=float, default=960)
    parser.add_argument("--rate", type=float, default=3e-4)
    parser.add_argument("--batch", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    return parser.parse_args()


if __name__ == "__main__":
    tune(_options())

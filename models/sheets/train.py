"""Train the finder on scenes drawn as they are needed: ``python -m models.sheets.train OUT --minutes 8``.

``--flats N`` also lays flat slips of the ``tune`` designs of ``sample_scans`` into the scenes, ``--start
CHECKPOINT`` goes on from earlier weights. Works by the clock, so a faster machine sees more scenes.
"""

import argparse
import time
from collections.abc import Iterator
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
import torch
from torch.nn import functional

from models.sheets.network import Finder
from models.sheets.scenes import PAD, Image, draw_scene

_BATCH = 48
_RATE = 2.5e-3
_AGAIN = 3  # times each scene is seen, each time turned or mirrored otherwise


def _flat(seed: int) -> Image:
    """A slip of a tune design, small; ``PAD`` of them after one another are of one pad."""
    from sample_scans.forms import random_design
    from sample_scans.hands import Writers
    from sample_scans.slips import any_slip

    rng = np.random.default_rng([9, seed])
    writers = Writers("tune", None)
    digits = writers.digits(writers.ids[int(rng.integers(len(writers)))])
    slip = any_slip(
        random_design(int(np.random.default_rng([10, seed // PAD]).integers(1 << 30)), "tune"),
        digits,
        "tune",
        rng,
        5.0,
        blank=bool(rng.random() < 0.1),
    )
    shrink = 560 / max(slip.image.shape[:2])
    return np.asarray(
        cv2.resize(slip.image, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA), np.uint8
    )


class _Scenes(torch.utils.data.IterableDataset):  # type: ignore[type-arg]
    def __init__(self, seed: int, flats: list[Image]) -> None:
        self._seed, self._flats = seed, flats

    def __iter__(self) -> Iterator[tuple[torch.Tensor, torch.Tensor]]:
        cv2.setNumThreads(1)
        info = torch.utils.data.get_worker_info()
        rng = np.random.default_rng([self._seed, 0 if info is None else info.id])
        while True:
            scene = draw_scene(rng, self._flats)
            yield torch.from_numpy(scene.image), torch.from_numpy(scene.labels)


def _turned(x: torch.Tensor, y: torch.Tensor, way: int) -> tuple[torch.Tensor, torch.Tensor]:
    if way & 4:
        x, y = x.flip(3), y.flip(3)
    return torch.rot90(x, way & 3, (2, 3)), torch.rot90(y, way & 3, (2, 3))


def train(
    out: Path, minutes: float, seed: int, flats: int, start: Path | None, workers: int, rate: float = _RATE
) -> None:
    """Train, and write ``finder.pt`` (weights, losses)."""
    torch.manual_seed(seed)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    began = time.monotonic()
    with get_context("fork").Pool(workers) as pool:
        slips = pool.map(_flat, range(flats), chunksize=4) if flats else []
    print(f"{len(slips)} flats after {time.monotonic() - began:.0f} s", flush=True)
    finder = Finder().to(device).to(memory_format=torch.channels_last)
    if start is not None:
        finder.load_state_dict(torch.load(start, map_location=device, weights_only=True))
    print(sum(p.numel() for p in finder.parameters()) / 1e6, "million parameters")
    loader = torch.utils.data.DataLoader(
        _Scenes(seed, slips), _BATCH // 2, num_workers=workers, prefetch_factor=4, pin_memory=True
    )
    tuner = torch.optim.AdamW(finder.parameters(), lr=rate, weight_decay=0.02)
    end = began + 60 * minutes
    slow = {k: v.detach().clone() for k, v in finder.state_dict().items()}
    step, shown = 0, 0.0
    chance = np.random.default_rng(seed)
    kept: list[tuple[torch.Tensor, torch.Tensor]] = []
    first = time.monotonic()
    for image, label in loader:
        now = time.monotonic()
        if now > end:
            break
        done = (now - first) / (end - first)
        for group in tuner.param_groups:
            group["lr"] = rate * min(1.0, step / 300 + 0.01) * (0.5 + 0.5 * np.cos(np.pi * done)) + 1e-5
        kept.append((image, label))
        if len(kept) > 60:
            kept.pop(int(chance.integers(len(kept) - 1)))
        for again in range(_AGAIN):
            one = kept[-1] if again == 0 else kept[int(chance.integers(len(kept)))]
            other = kept[int(chance.integers(len(kept)))]
            x = torch.cat([one[0], other[0]]).to(device, non_blocking=True).permute(0, 3, 1, 2).float()
            y = torch.cat([one[1], other[1]]).to(device, non_blocking=True).permute(0, 3, 1, 2).float() / 255
            x, y = _turned(x, y, int(chance.integers(8)))
            with torch.autocast(device, torch.bfloat16):
                logits = finder(x.contiguous(memory_format=torch.channels_last))
            logits = logits.float()
            each = functional.binary_cross_entropy_with_logits(logits, y, reduction="none").mean((0, 2, 3))
            share = torch.sigmoid(logits)
            dice = 1 - (2 * (share * y).sum((2, 3)) + 20) / (share.sum((2, 3)) + y.sum((2, 3)) + 20)
            loss = each[0] + 2 * each[1] + each[2] + 0.2 * dice.mean()
            tuner.zero_grad(set_to_none=True)
            loss.backward()
            torch.nn.utils.clip_grad_norm_(finder.parameters(), 1.0)
            tuner.step()
            step += 1
            keep = min(0.998, (step + 1) / (step + 20))
            with torch.no_grad():
                for name, value in finder.state_dict().items():
                    if value.dtype.is_floating_point:
                        slow[name].lerp_(value, 1 - keep)
                    else:
                        slow[name].copy_(value)
        if now - shown > 15:
            shown = now
            print(
                f"{now - began:5.0f} s step {step} loss {loss.item():.4f} slip {each[0]:.4f} "
                f"outline {each[1]:.4f} core {each[2]:.4f}",
                flush=True,
            )
    out.mkdir(parents=True, exist_ok=True)
    torch.save({k: v.half() if v.dtype.is_floating_point else v for k, v in slow.items()}, out / "finder.pt")


def main() -> None:
    """Read the command line and train."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("out", type=Path)
    parser.add_argument("--minutes", type=float, default=8)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--flats", type=int, default=0)
    parser.add_argument("--start", type=Path, help="a checkpoint to go on from")
    parser.add_argument("--rate", type=float, default=_RATE, help="of learning, at its highest")
    parser.add_argument("--workers", type=int, default=16)
    given = parser.parse_args()
    train(given.out, given.minutes, given.seed, given.flats, given.start, given.workers, given.rate)


if __name__ == "__main__":
    main()

"""Train teacher and reader together: ``python -m models.train INK.npz FOLDER [options]``.

Worker processes compose boxes, photograph them and prepare them with the reader's own ``prepare``; the GPU
holds the latest in a pool and trains on draws from it. The teacher learns from the labels alone, the reader
from the labels and from the teacher's answers at every step (Hinton, Vinyals, Dean 2015).
"""

import argparse
import copy
import multiprocessing
import os
import queue
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from torch.nn import functional

from formread.reading.prepare import HEIGHT, prepare
from formread.reading.recogniser import ALPHABET, padded_width
from models import texts
from models.camera import Box, Grain, photograph, printed_pounds, scene
from models.compose import Hands, sway, whole, write
from models.network import READER, SEEDLING, TEACHER, Network

_LONGEST = 24
_CHUNK = 256
_COLUMNS = 160_000  # padded columns in one batch
_MOST = 1536  # boxes in one batch
_WIDEST = 544
_DECAY = 0.999  # of the moving average of the weights that is kept


def barred_texts(archive: Path) -> frozenset[str]:
    """Return the texts of the test writers' whole numbers: no training number may say the same."""
    with np.load(archive) as z:
        return frozenset(z["whole_label"][z["whole_split"] == "test"].tolist())


def encode(label: str) -> np.ndarray[Any, Any]:
    """Return the classes of `label`, padded with zeros."""
    classes = np.zeros(_LONGEST, np.uint8)
    classes[: len(label)] = [ALPHABET.index(c) + 1 for c in label]
    return classes


def pack(boxes: list[Box]) -> dict[int, tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]]:
    """Prepare boxes and sort them by padded width: pictures ``(N, 40, W)`` uint8 and classes ``(N, 24)``."""
    sorted_: dict[int, list[tuple[np.ndarray[Any, Any], str]]] = {}
    for box in boxes:
        if len(box.label) <= _LONGEST:
            ready = prepare(box.crop)
            sorted_.setdefault(padded_width(ready.shape[1]), []).append((ready, box.label))
    packed = {}
    for width, several in sorted_.items():
        pictures = np.zeros((len(several), HEIGHT, width), np.uint8)
        for row, (ready, _) in enumerate(several):
            pictures[row, :, : ready.shape[1]] = np.round(ready * 255)
        packed[width] = (pictures, np.stack([encode(label) for _, label in several]))
    return packed


def _work(archive: Path, seed: int, out: Any) -> None:
    cv2.setNumThreads(1)
    rng = np.random.default_rng(seed)
    (hands, grain), signs = _SHARED[0], printed_pounds()
    while True:
        out.put(pack([scene(hands, grain, signs, rng) for _ in range(_CHUNK)]))


_SHARED: list[tuple[Hands, Grain]] = []  # filled before the workers fork, so that they share it


class Pool:
    """The latest pictures of one width, on the device, as a ring."""

    def __init__(self, width: int, room: int, device: torch.device) -> None:
        self.pictures = torch.zeros((room, HEIGHT, width), dtype=torch.uint8, device=device)
        self.classes = torch.zeros((room, _LONGEST), dtype=torch.uint8, device=device)
        self.next, self.filled, self.room = 0, 0, room

    def add(self, pictures: torch.Tensor, classes: torch.Tensor) -> None:
        """Overwrite the oldest."""
        count = len(pictures)
        at = (torch.arange(count, device=self.pictures.device) + self.next) % self.room
        self.pictures[at] = pictures
        self.classes[at] = classes
        self.next = (self.next + count) % self.room
        self.filled = min(self.room, self.filled + count)


def augment(x: torch.Tensor) -> torch.Tensor:
    """Shift, scale, shear and relight ``(N, 1, H, W)`` a little: a picture drawn twice is not the same twice."""
    count = len(x)

    def normal(spread: float) -> torch.Tensor:
        return torch.randn(count, device=x.device) * spread

    zeros = torch.zeros(count, device=x.device)
    width, height = x.shape[3], x.shape[2]
    theta = torch.stack(
        [
            torch.stack([1 + normal(0.05), normal(0.07) * height / width, normal(0.02)], 1),
            torch.stack([zeros, 1 + normal(0.05), normal(0.04)], 1),
        ],
        1,
    )
    grid = functional.affine_grid(theta, list(x.shape), align_corners=False)
    x = functional.grid_sample(x, grid, align_corners=False)
    gamma = torch.exp(normal(0.25)).view(-1, 1, 1, 1)
    x = x.clamp_min(1e-4) ** gamma
    noise = (normal(0.03).abs()).view(-1, 1, 1, 1) * torch.randn_like(x)
    return (x + noise).clamp(0, 1)


def greedy(logits: torch.Tensor) -> list[str]:
    """Return the best path's string for each box."""
    best = logits.argmax(2).cpu().numpy()
    said = []
    for row in best:
        kept = row[np.r_[True, row[1:] != row[:-1]]]
        said.append("".join(ALPHABET[k - 1] for k in kept if k))
    return said


def exact(network: Network, packed: dict[int, Any], device: torch.device) -> float:
    """Return the share of boxes whose best path is the label."""
    network.eval()
    right = total = 0
    with torch.no_grad():
        for pictures, classes in packed.values():
            for k in range(0, len(pictures), 512):
                x = torch.from_numpy(pictures[k : k + 512]).to(device)[:, None].float() / 255
                for said, row in zip(greedy(network(x)), classes[k : k + 512], strict=True):
                    right += said == "".join(ALPHABET[c - 1] for c in row if c)
                    total += 1
    network.train()
    return right / max(1, total)


def validation(archive: Path, count: int) -> dict[str, dict[int, Any]]:
    """Return boxes by calibration hands: whole numbers as written, composed strings, both by pen and carbon."""
    rng = np.random.default_rng(7)
    hands, grain, signs = Hands(archive, "calibration"), Grain(rng), printed_pounds()
    real: list[Box] = []
    while len(real) < count // 2:
        said = whole(hands, rng)
        if said is not None:
            real.append(photograph(said, hands, grain, signs, "pen" if len(real) % 2 else "carbon", rng))
    sets = {"whole": pack(real)}
    for style in ("pen", "carbon"):
        sets[style] = pack(
            [
                photograph(sway(write(hands, texts.text(rng), rng), rng), hands, grain, signs, style, rng)
                for _ in range(count)
            ]
        )
    return sets


def _average(target: Network, source: Network, keep: float) -> None:
    with torch.no_grad():
        pairs = list(zip(target.state_dict().values(), source.state_dict().values(), strict=True))
        moving = [(t, s) for t, s in pairs if t.dtype.is_floating_point]
        torch._foreach_lerp_([t for t, _ in moving], [s for _, s in moving], 1 - keep)


def save(path: Path, reader: Network, teacher: Network) -> None:
    """Write both networks; the teacher at half precision, which is all that going on with it needs."""
    state = {
        "reader": reader.state_dict(),
        "teacher": {k: v.half() if v.dtype.is_floating_point else v for k, v in teacher.state_dict().items()},
    }
    torch.save(state, path.with_suffix(".part"))
    os.replace(path.with_suffix(".part"), path)


def train(options: argparse.Namespace) -> None:
    """Train for `options.seconds` and leave ``reader.pt`` in the folder."""
    began = time.time()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    cv2.setNumThreads(1)  # before the workers fork: a pool of threads would not survive in them
    torch.manual_seed(options.seed)
    torch.backends.cudnn.benchmark = (
        False  # few boxes of many widths: trying out algorithms costs more than it gains
    )
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    grain = Grain(np.random.default_rng(options.seed))
    _SHARED.append((Hands(options.ink, "train", barred_texts(options.ink)), grain))
    out: Any = multiprocessing.get_context("fork").Queue(64)
    workers = [
        multiprocessing.get_context("fork").Process(
            target=_work, args=(options.ink, options.seed * 1000 + k, out), daemon=True
        )
        for k in range(options.workers)
    ]
    for worker in workers:
        worker.start()
    checks = validation(options.ink, options.check)
    reader, teacher = (
        Network(size).to(device, memory_format=torch.channels_last)
        for size in (READER if options.resume else SEEDLING, TEACHER)
    )
    if options.resume:
        state = torch.load(options.resume, map_location=device, weights_only=True)
        reader.load_state_dict(state["reader"])
        teacher.load_state_dict(
            {k: v.float() if v.is_floating_point() else v for k, v in state["teacher"].items()}
        )
    averages = [copy.deepcopy(reader), copy.deepcopy(teacher)]
    for network in (reader, teacher, *averages):
        network.row.flatten_parameters()
    groups = [{"params": list(n.parameters())} for n in (reader, teacher)]
    optimiser = torch.optim.AdamW(groups, lr=1e-3, weight_decay=0.02)
    pools: dict[int, Pool] = {}
    drawn = np.random.default_rng(options.seed)
    fresh = used = steps = 0
    said = time.time()
    sums = torch.zeros(3, device=device)
    while True:
        now = time.time() - began
        if now > options.seconds:
            break
        try:
            for _ in range(4):
                for width, (pictures, classes) in out.get(block=not pools or fresh < options.least).items():
                    if width > _WIDEST:
                        continue
                    if width not in pools:
                        pools[width] = Pool(
                            width, options.room if width <= 320 else options.room // 8, device
                        )
                    pools[width].add(
                        torch.from_numpy(pictures).to(device), torch.from_numpy(classes).to(device)
                    )
                    fresh += len(pictures)
        except queue.Empty:
            pass
        if fresh < options.least:
            continue
        share = now / options.seconds
        rate = options.rate * min(1.0, (steps + 1) / 300) * max(0.002, 0.5 * (1 + np.cos(np.pi * share)))
        for group in optimiser.param_groups:
            group["lr"] = rate
        widths = sorted(pools)
        mass = np.array([pools[w].filled for w in widths], float)
        width = widths[int(drawn.choice(len(widths), p=mass / mass.sum()))]
        pool = pools[width]
        # the batch's size is kept in proportion so that every picture is drawn alike often
        count = min(options.batch, _COLUMNS * 4 // width)
        at = torch.randint(0, pool.filled, (count,), device=device)
        x = augment(pool.pictures[at][:, None].float() / 255)
        classes = pool.classes[at].long()
        lengths = (classes > 0).sum(1)
        steps_of = torch.full((count,), width // 4, dtype=torch.long, device=device)
        with torch.autocast(device.type, torch.bfloat16):
            x = x.contiguous(memory_format=torch.channels_last)
            ours, theirs = reader(x), teacher(x)
        ours, theirs = functional.log_softmax(ours.float(), 2), functional.log_softmax(theirs.float(), 2)
        loss = [
            functional.ctc_loss(
                y.transpose(0, 1), classes, steps_of, lengths, reduction="none", zero_infinity=True
            )
            for y in (ours, theirs)
        ]
        # A mislabelled glyph must not shout: losses far above what anything readable gives are flattened.
        capped = (
            [torch.where(v > 8, 8 + (v - 8) * 0.1, v).mean() for v in loss]
            if share > 0.1
            else [v.mean() for v in loss]
        )
        lean = functional.kl_div(ours, theirs.detach(), reduction="none", log_target=True).sum((1, 2)).mean()
        weight = min(1.0, share / 0.05) if not options.resume else 1.0
        total = capped[0] * (1 - 0.5 * weight) + weight * lean + capped[1]
        optimiser.zero_grad(set_to_none=True)
        total.backward()
        for group in optimiser.param_groups:
            torch.nn.utils.clip_grad_norm_(group["params"], 5.0)
        optimiser.step()
        steps += 1
        used += count
        for average, network in zip(averages, (reader, teacher), strict=True):
            _average(average, network, min(_DECAY, (1 + steps) / (10 + steps)))
        sums += torch.stack([capped[0].detach(), capped[1].detach(), lean.detach()])
        if time.time() - said > options.every:
            mean = (sums / max(1, steps)).tolist() if steps < 2 else (sums / options_steps(steps)).tolist()
            scores = {k: [round(exact(a, v, device), 4) for a in averages] for k, v in checks.items()}
            print(
                f"{now:5.0f} s  step {steps}  fresh {fresh}  used {used}  lr {rate:.1e}  "
                f"loss {mean[0]:.3f} {mean[1]:.3f} {mean[2]:.3f}  {scores}",
                flush=True,
            )
            sums.zero_()
            _LAST[0] = steps
            said = time.time()
            save(options.folder / "reader.pt", *averages)
    for worker in workers:
        worker.terminate()
    save(options.folder / "reader.pt", *averages)
    scores = {k: [round(exact(a, v, device), 4) for a in averages] for k, v in checks.items()}
    print(f"done {steps} steps, fresh {fresh}, used {used}, {scores}", flush=True)


_LAST = [0]


def options_steps(steps: int) -> int:
    """Return the steps since the last report."""
    return max(1, steps - _LAST[0])


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("ink", type=Path)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seconds", type=float, default=540, help="wall-clock time to train for")
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--batch", type=int, default=768)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--room", type=int, default=120_000, help="pictures kept per width")
    parser.add_argument(
        "--least", type=int, default=20_000, help="pictures to wait for before the first step"
    )
    parser.add_argument("--every", type=float, default=60, help="seconds between reports")
    parser.add_argument("--check", type=int, default=2000, help="boxes per validation set")
    parser.add_argument("--resume", type=Path)
    return parser.parse_args()


if __name__ == "__main__":
    train(_options())

"""Train teacher and reader: ``python -m models.train INK.npz FOLDER [options]``.

Worker processes compose boxes, photograph them and prepare them with the reader's own ``prepare``; the GPU
holds the latest in pools and trains on draws from them. The teacher learns from the labels alone, the reader
from the labels and from the teacher's answers at every step (Hinton, Vinyals, Dean 2015). A session goes on
with what lies in the folder and learns what ``--learn`` names; a teacher that does not learn only answers.
Each network's rate falls to none over its own course, which may span several sessions.
"""

import argparse
import copy
import math
import multiprocessing
import os
import queue
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import torch
from torch.nn import functional

from formread.reading.prepare import HEIGHT, prepare
from formread.reading.recogniser import ALPHABET, padded_width
from models import texts
from models.camera import Box, Grain, forms_print, photograph, scene
from models.compose import Hands, sway, whole, write
from models.network import SIZES, Network

Bytes = npt.NDArray[np.uint8]
Packed = dict[int, tuple[Bytes, Bytes, npt.NDArray[np.int16]]]
"""Per padded width: pictures ``(N, 40, W)``, classes ``(N, 24)`` and what they are made of ``(N,)``."""

_LONGEST = 24
_CHUNK = 256
_COLUMNS = 640_000  # padded columns in one batch
_WIDEST = 544
_DECAY = 0.999  # of the moving average of the weights that is kept
_WARM = 300  # steps from no learning rate to the full one
_EARLY = 0.04  # of a network's course, in which no loss of it is flattened
_BENT = 1.3  # pixels by which a drawn picture is bent at most (standard deviation of the field's knots)
_CAP, _BEYOND = 8.0, 0.1  # nats above which a loss counts only this share: a mislabelled glyph must not shout


def barred_texts(archive: Path) -> frozenset[str]:
    """Return the texts of the test writers' whole numbers: no training number may say the same."""
    with np.load(archive) as z:
        return frozenset(z["whole_label"][z["whole_split"] == "test"].tolist())


def encode(label: str) -> Bytes:
    """Return the classes of `label`, padded with zeros."""
    classes = np.zeros(_LONGEST, np.uint8)
    classes[: len(label)] = [ALPHABET.index(c) + 1 for c in label]
    return classes


def pack(boxes: list[Box]) -> Packed:
    """Prepare boxes and sort them by padded width."""
    by_width: dict[int, list[tuple[npt.NDArray[np.float32], Box]]] = {}
    for box in boxes:
        if len(box.label) <= _LONGEST:
            ready = prepare(box.crop)
            by_width.setdefault(padded_width(ready.shape[1]), []).append((ready, box))
    packed = {}
    for width, several in by_width.items():
        pictures = np.zeros((len(several), HEIGHT, width), np.uint8)
        for row, (ready, _) in enumerate(several):
            pictures[row, :, : ready.shape[1]] = np.round(ready * 255)
        classes = np.stack([encode(box.label) for _, box in several])
        packed[width] = (pictures, classes, np.array([box.made for _, box in several], np.int16))
    return packed


class Feed:
    """Worker processes that draw without end, and the queue they draw into."""

    def __init__(self, archive: Path, workers: int, seed: int) -> None:
        # Loaded before the workers fork, so that they share it.
        self._hands = Hands(archive, "train", barred_texts(archive))
        self._grain = Grain(np.random.default_rng(seed))
        fork = multiprocessing.get_context("fork")
        self.out: Any = fork.Queue(64)
        self._workers = [
            fork.Process(target=self._work, args=(seed * 1000 + k,), daemon=True) for k in range(workers)
        ]
        for worker in self._workers:
            worker.start()

    def _work(self, seed: int) -> None:
        cv2.setNumThreads(1)
        rng, signs = np.random.default_rng(seed), forms_print()
        while True:
            self.out.put(pack([scene(self._hands, self._grain, signs, rng) for _ in range(_CHUNK)]))

    def stop(self) -> None:
        """End the workers."""
        for worker in self._workers:
            worker.terminate()


class Pool:
    """The latest pictures of one width, on the device, as a ring."""

    def __init__(self, width: int, room: int, device: torch.device) -> None:
        self.pictures = torch.zeros((room, HEIGHT, width), dtype=torch.uint8, device=device)
        self.classes = torch.zeros((room, _LONGEST), dtype=torch.uint8, device=device)
        self.made = torch.zeros(room, dtype=torch.int16, device=device)
        self.next, self.filled, self.room = 0, 0, room

    def add(self, pictures: Bytes, classes: Bytes, made: npt.NDArray[np.int16]) -> None:
        """Overwrite the oldest."""
        device = self.pictures.device
        at = (torch.arange(len(pictures), device=device) + self.next) % self.room
        self.pictures[at] = torch.from_numpy(pictures).to(device)
        self.classes[at] = torch.from_numpy(classes).to(device)
        self.made[at] = torch.from_numpy(made).to(device)
        self.next = (self.next + len(pictures)) % self.room
        self.filled = min(self.room, self.filled + len(pictures))


class Pools:
    """A pool for each width, fed from the queue."""

    def __init__(self, feed: Feed, room: int, least: int, device: torch.device) -> None:
        self._feed, self._room, self._device = feed, room, device
        self._of: dict[int, Pool] = {}
        self.fresh = 0
        while self.fresh < least:
            self._take(feed.out.get())

    def _take(self, packed: Packed) -> None:
        for width, arrays in packed.items():
            if width <= _WIDEST:
                room = self._room if width <= 320 else self._room // 8
                self._of.setdefault(width, Pool(width, room, self._device)).add(*arrays)
                self.fresh += len(arrays[0])

    def refresh(self) -> None:
        """Take in what is waiting, a little at a time."""
        try:
            for _ in range(4):
                self._take(self._feed.out.get(block=False))
        except queue.Empty:
            pass

    def draw(
        self, rng: np.random.Generator, most: int
    ) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor, torch.Tensor]:
        """Return pictures of one width ``(N, 1, 40, W)``, classes, their lengths, and what they are made of."""
        widths = sorted(self._of)
        mass = np.array([self._of[w].filled for w in widths], float)
        width = widths[int(rng.choice(len(widths), p=mass / mass.sum()))]
        pool = self._of[width]
        at = torch.randint(0, pool.filled, (min(most, _COLUMNS // width),), device=self._device)
        x = augment(pool.pictures[at][:, None].float() / 255)
        classes = pool.classes[at].long()
        return x.contiguous(memory_format=torch.channels_last), classes, (classes > 0).sum(1), pool.made[at]


def augment(x: torch.Tensor) -> torch.Tensor:
    """Shift, scale, shear, bend, thicken and relight ``(N, 1, H, W)`` a little.

    A picture drawn twice is not the same twice.
    """
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
    knots = torch.randn(count, 2, 4, max(4, width // 16), device=x.device)
    size = torch.tensor([2 / width, 2 / height], device=x.device).view(1, 2, 1, 1)
    knots = knots * size * (_BENT * torch.rand(count, 1, 1, 1, device=x.device))
    field = functional.interpolate(knots, size=(height, width), mode="bicubic", align_corners=True)
    x = functional.grid_sample(x, grid + field.permute(0, 2, 3, 1), align_corners=False)
    # Towards the brightest or the darkest of the neighbours: a thicker or a thinner pen.
    weight = normal(0.25).clamp(-0.4, 0.6).view(-1, 1, 1, 1)
    thick, thin = functional.max_pool2d(x, 3, 1, 1), -functional.max_pool2d(-x, 3, 1, 1)
    x = x + weight.clamp_min(0) * (thick - x) + weight.clamp_max(0) * (x - thin)
    gamma = torch.exp(normal(0.25)).view(-1, 1, 1, 1)
    x = x.clamp_min(1e-4) ** gamma
    noise = (normal(0.03).abs()).view(-1, 1, 1, 1) * torch.randn_like(x)
    return (x + noise).clamp(0, 1)


def losses(logits: torch.Tensor, classes: torch.Tensor, lengths: torch.Tensor, *, cap: bool) -> torch.Tensor:
    """Return the CTC loss of each box, flattened where it is far above what anything readable gives."""
    steps = torch.full((len(logits),), logits.shape[1], dtype=torch.long, device=logits.device)
    loss = functional.ctc_loss(
        logits.transpose(0, 1), classes, steps, lengths, reduction="none", zero_infinity=True
    )
    return torch.where(loss > _CAP, _CAP + (loss - _CAP) * _BEYOND, loss) if cap else loss


def greedy(logits: torch.Tensor) -> list[str]:
    """Return the best path's string for each box."""
    best = logits.argmax(2).cpu().numpy()
    said = []
    for row in best:
        kept = row[np.r_[True, row[1:] != row[:-1]]]
        said.append("".join(ALPHABET[k - 1] for k in kept if k))
    return said


def exact(network: Network, packed: Packed, device: torch.device) -> float:
    """Return the share of boxes whose best path is the label."""
    network.eval()
    right = total = 0
    with torch.no_grad():
        for pictures, classes, _ in packed.values():
            for k in range(0, len(pictures), 512):
                x = torch.from_numpy(pictures[k : k + 512]).to(device)[:, None].float() / 255
                for said, row in zip(greedy(network(x)), classes[k : k + 512], strict=True):
                    right += said == "".join(ALPHABET[c - 1] for c in row if c)
                    total += 1
    network.train()
    return right / max(1, total)


def validation(archive: Path, count: int) -> dict[str, Packed]:
    """Return boxes by calibration hands: whole numbers as written, composed strings, both by pen and carbon."""
    rng = np.random.default_rng(7)
    hands, grain, signs = Hands(archive, "calibration"), Grain(rng), forms_print()
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


def _store(state: dict[str, Any], path: Path) -> None:
    torch.save(state, path.with_suffix(".part"))
    os.replace(path.with_suffix(".part"), path)


class Course:
    """Teacher, reader, which of them learn, their averages over the last steps, and their optimisers."""

    def __init__(self, options: argparse.Namespace, device: torch.device) -> None:
        self.networks = {name: Network(size).to(device) for name, size in SIZES.items()}
        self._folder: Path = options.folder
        self.learn: list[str] = options.learn
        for name, network in self.networks.items():
            path = self._folder / f"{name}.pt"
            if path.exists():
                state = torch.load(path, map_location=device, weights_only=True)
                network.load_state_dict(
                    {k: v.float() if v.is_floating_point() else v for k, v in state.items()}
                )
            if name not in self.learn:
                network.eval().requires_grad_(requires_grad=False)
        self._optimisers = {
            name: torch.optim.AdamW(
                self.networks[name].parameters(), lr=1e-3, weight_decay=0.02, fused=device.type == "cuda"
            )
            for name in self.learn
        }
        self.averages = {name: copy.deepcopy(self.networks[name]).eval() for name in self.learn}
        self.steps = 0
        for network in (*self.networks.values(), *self.averages.values()):
            network.to(memory_format=torch.channels_last)  # type: ignore[call-overload]
            network.row.flatten_parameters()

    def answer(self, name: str, x: torch.Tensor) -> torch.Tensor:
        """Return the log-probabilities of a network."""
        with torch.autocast(x.device.type, torch.bfloat16):
            logits = self.networks[name](x)
        return torch.log_softmax(logits.float(), 2)

    def step(self, total: torch.Tensor, rates: dict[str, float]) -> None:
        """Move the networks that learn, and their averages."""
        for optimiser in self._optimisers.values():
            optimiser.zero_grad(set_to_none=True)
        total.backward()  # type: ignore[no-untyped-call]
        self.steps += 1
        for name, optimiser in self._optimisers.items():
            network = self.networks[name]
            torch.nn.utils.clip_grad_norm_(network.parameters(), 5.0)
            for group in optimiser.param_groups:
                group["lr"] = rates[name]
            optimiser.step()
            _average(self.averages[name], network, min(_DECAY, (1 + self.steps) / (10 + self.steps)))

    def save(self) -> None:
        """Write the averaged networks, the teacher at half precision: that is all its answers need."""
        for name, average in self.averages.items():
            state = average.state_dict()
            if name == "teacher":
                state = {k: v.half() if v.is_floating_point() else v for k, v in state.items()}
            _store(state, self._folder / f"{name}.pt")


def train(options: argparse.Namespace) -> None:
    """Train for `options.seconds` and leave the networks in the folder."""
    began = time.time()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    cv2.setNumThreads(1)  # before the workers fork: a pool of threads would not survive in them
    torch.manual_seed(options.seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = True  # pictures come in a handful of shapes
    feed = Feed(options.ink, options.workers, options.seed)
    course = Course(options, device)
    checks = validation(options.ink, options.check)
    pools = Pools(feed, options.room, options.least, device)
    started = said = time.time()
    drawn = np.random.default_rng(options.seed)
    sums = torch.zeros(4, device=device)
    lengths_of = {"teacher": options.teacher_course, "reader": options.course}
    print(f"ready after {started - began:.0f} s", flush=True)
    while time.time() - began < options.seconds:
        pools.refresh()
        spent = options.done + time.time() - started
        shares = {name: min(1.0, spent / length) for name, length in lengths_of.items()}
        warm = min(1.0, (course.steps + 1) / _WARM)
        rates = {
            name: top * warm * max(0.002, 0.5 * (1 + math.cos(math.pi * shares[name])))
            for name, top in (("teacher", options.teacher_rate), ("reader", options.rate))
        }
        x, classes, lengths, _ = pools.draw(drawn, options.batch)
        total = torch.zeros((), device=device)
        with torch.set_grad_enabled("teacher" in course.learn):
            theirs = course.answer("teacher", x)
        if "teacher" in course.learn:
            each = losses(theirs, classes, lengths, cap=shares["teacher"] > _EARLY)
            total, sums[1] = total + each.mean(), sums[1] + each.detach().mean()
        if "reader" in course.learn:
            ours = course.answer("reader", x)
            each = losses(ours, classes, lengths, cap=shares["reader"] > _EARLY)
            lean = (
                functional.kl_div(ours, theirs.detach(), reduction="none", log_target=True).sum((1, 2)).mean()
            )
            total = total + 0.5 * each.mean() + lean
            sums[0], sums[2] = sums[0] + each.detach().mean(), sums[2] + lean.detach()
        sums[3] += 1
        course.step(total, rates)
        if time.time() - said > options.every:
            mean = (sums[:3] / sums[3]).tolist()
            print(
                f"{time.time() - started:5.0f} s  step {course.steps}  fresh {pools.fresh}  "
                f"loss {mean[0]:.3f} {mean[1]:.3f} {mean[2]:.3f}  {_scores(course, checks, device)}",
                flush=True,
            )
            course.save()  # a session may be ended from outside
            sums.zero_()
            said = time.time()
    feed.stop()
    course.save()
    print(
        f"{course.steps} steps, {pools.fresh} fresh pictures, {_scores(course, checks, device)}", flush=True
    )


def _scores(course: Course, checks: dict[str, Packed], device: torch.device) -> dict[str, list[float]]:
    """Return the share read exactly by the networks that learn, teacher first."""
    return {
        name: [round(exact(a, packed, device), 4) for a in course.averages.values()]
        for name, packed in checks.items()
    }


def options_for(parser: argparse.ArgumentParser) -> argparse.ArgumentParser:
    """Add what training and ablation share."""
    parser.add_argument("ink", type=Path)
    parser.add_argument("--seconds", type=float, default=560, help="wall-clock time of this session")
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--batch", type=int, default=768)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--room", type=int, default=120_000, help="pictures kept per width")
    parser.add_argument(
        "--least", type=int, default=20_000, help="pictures to wait for before the first step"
    )
    parser.add_argument("--check", type=int, default=2000, help="boxes per validation set")
    return parser


def _options() -> argparse.Namespace:
    parser = options_for(argparse.ArgumentParser(description=__doc__))
    parser.add_argument("folder", type=Path)
    parser.add_argument(
        "--learn", nargs="+", choices=sorted(SIZES), default=sorted(SIZES), help="the networks that learn"
    )
    parser.add_argument(
        "--course", type=float, default=1600, help="seconds over which the reader's rate falls to none"
    )
    parser.add_argument("--teacher-course", type=float, default=1080, help="the same for the teacher")
    parser.add_argument("--teacher-rate", type=float, default=2e-3)
    parser.add_argument("--done", type=float, default=0, help="seconds of the courses in earlier sessions")
    parser.add_argument("--every", type=float, default=60, help="seconds between reports")
    return parser.parse_args()


if __name__ == "__main__":
    train(_options())

"""Train the box finder on forms drawn as they are needed: ``python -m models.layouts.train OUT --minutes 9``.

``--fonts FOLDER`` (with ``print`` and ``hand`` in it) and ``--mnist FOLDER`` are what ``models.forms`` draws with;
``--start CHECKPOINT`` goes on from earlier weights, and ``--from`` and ``--to`` say which part of the whole course
this run is, so that the learning rate falls over several runs as over one. Works by the clock: a faster machine
sees more forms. With the variables RANK, WORLD_SIZE, MASTER_ADDR and MASTER_PORT of ``torch.distributed`` in the
environment it is one of several processes with a GPU each, which see forms of their own and share what they learn.
"""

import argparse
import os
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import torch
from torch import distributed
from torch.nn import functional
from torch.nn.parallel import DistributedDataParallel

from models.forms import Digits, Fonts, draw_form
from models.layouts.network import BoxFinder
from models.layouts.pads import Flat, flats, pad_names, photographed
from models.layouts.pages import draw_page
from models.layouts.targets import BOXES, KINDS, NO_BOX, maps

_RATE = 2e-3
_SHAPES = ((1088, 512), (1088, 640), (1088, 800), (800, 1088), (640, 1088), (512, 1088), (1088, 1088))
"""Heights and widths that forms are padded to, the tightest that holds them."""
_AREA = 1088 * 800 * 16
"""Pixels of a batch, about."""
_AGAIN = 2  # times a batch is seen, the second time later and in another light
_KEPT = 24
_NO_SLIP = 0.05  # share of pages that are no slip
_WEIGHT_OF_NOTHING = 0.4  # background is most of the picture and rarely the question
_DECAY = 0.9985  # of the running mean of the weights that is kept in the end
_MEET = 8  # steps after which all processes take the first one's clock

Image = npt.NDArray[np.uint8]


def _sized(rng: np.random.Generator, image: Image, scale: float) -> Image:
    method = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(image, None, fx=scale, fy=scale, interpolation=method), np.uint8)


class _Scaled:
    """A drawn box in a resized, shifted picture."""

    def __init__(self, kind: str, corners: npt.NDArray[np.float32], pence: bool) -> None:
        self.kind, self.corners, self.pence = kind, corners, pence


def _shape_for(height: int, width: int) -> tuple[int, int] | None:
    fitting = [shape for shape in _SHAPES if shape[0] >= height and shape[1] >= width]
    return min(fitting, key=lambda shape: shape[0] * shape[1], default=None)


class _Forms(torch.utils.data.IterableDataset):  # type: ignore[type-arg]
    """Batches of one shape each: (N, H, W, 3) uint8 and (N, 3, H / 2, W / 2) uint8."""

    def __init__(
        self, seed: tuple[int, int], fonts: Fonts, digits: Digits, known: Sequence[Flat], of_pads: float
    ) -> None:
        self._seed, self._fonts, self._digits, self._known = seed, fonts, digits, known
        self._of_pads = of_pads

    def __iter__(self) -> Iterator[tuple[torch.Tensor, torch.Tensor]]:
        cv2.setNumThreads(1)
        info = torch.utils.data.get_worker_info()
        rng = np.random.default_rng([*self._seed, 0 if info is None else info.id])
        waiting: dict[tuple[int, int], list[tuple[Image, Image]]] = {shape: [] for shape in _SHAPES}
        while True:
            of_pad = bool(self._known) and rng.random() < self._of_pads
            if rng.random() < _NO_SLIP:
                drawn, of_pad = draw_page(rng, self._fonts), False
            elif of_pad:
                drawn = photographed(self._known[int(rng.integers(len(self._known)))], rng)
            else:
                drawn = draw_form(rng, self._fonts, self._digits)
            longest = max(drawn.image.shape[:2])
            scale = float(rng.uniform(0.93, 1.05)) * 1024 / longest
            image = _sized(rng, drawn.image, scale)
            height, width = image.shape[:2]
            shape = _shape_for(height, width)
            if shape is None:
                continue
            top, left = (int(rng.integers(room + 1)) for room in (shape[0] - height, shape[1] - width))
            canvas = np.full((*shape, 3), rng.integers(0, 256, 3), np.uint8)
            canvas[top : top + height, left : left + width] = image
            if rng.random() < 0.5:  # the product pads by the rim's own pixels
                canvas = cv2.copyMakeBorder(
                    image, top, shape[0] - height - top, left, shape[1] - width - left, cv2.BORDER_REPLICATE
                )
            offset = np.array([left, top], np.float32)
            places = [_Scaled(p.kind, p.corners * scale + offset, p.pence) for p in drawn.boxes]
            waiting[shape].append((canvas, maps(places, *shape, all_named=not of_pad)))
            if len(waiting[shape]) >= max(1, _AREA // (shape[0] * shape[1])):
                images, targets = zip(*waiting[shape], strict=True)
                waiting[shape] = []
                yield torch.from_numpy(np.stack(images)), torch.from_numpy(np.stack(targets))


def _relit(x: torch.Tensor) -> torch.Tensor:
    """Other light: contrast, colour, sometimes grey, sometimes noise."""
    n = len(x)
    gain = torch.empty(n, 1, 1, 1, device=x.device).uniform_(0.75, 1.15)
    tint = torch.empty(n, 3, 1, 1, device=x.device).uniform_(0.93, 1.07)
    shift = torch.empty(n, 1, 1, 1, device=x.device).uniform_(-20, 20)
    grey = (torch.rand(n, 1, 1, 1, device=x.device) < 0.12).float()
    x = x * (1 - grey) + x.mean(1, keepdim=True) * grey
    x = x * gain * tint + shift
    return (x + torch.randn_like(x) * torch.empty(n, 1, 1, 1, device=x.device).uniform_(0, 6)).clamp(0, 255)


def _losses(logits: torch.Tensor, target: torch.Tensor, weights: torch.Tensor) -> tuple[torch.Tensor, ...]:
    kinds, core, pence = logits[:, : len(KINDS)], logits[:, len(KINDS)], logits[:, len(KINDS) + 1]
    unnamed = target[:, 0] == NO_BOX
    named = functional.cross_entropy(
        kinds, target[:, 0].long().masked_fill(unnamed, 0), weights, reduction="none"
    )
    logs = torch.log_softmax(kinds, 1)
    no_box = torch.cat([logs[:, :1], logs[:, len(BOXES) + 1 :]], 1)
    kind = torch.where(unnamed, -_WEIGHT_OF_NOTHING * torch.logsumexp(no_box, 1), named).mean()
    inside = target[:, 1].float()
    each = functional.binary_cross_entropy_with_logits(core, inside, reduction="none")
    share = torch.sigmoid(core)
    dice = 1 - (2 * (share * inside).sum((1, 2)) + 50) / (share.sum((1, 2)) + inside.sum((1, 2)) + 50)
    where = (target[:, 1] > 0).float()
    half = functional.binary_cross_entropy_with_logits(pence, target[:, 2].float(), reduction="none")
    half = (half * where).sum() / where.sum().clamp(min=1)
    return kind, each.mean() + 0.3 * dice.mean(), half


@dataclass(frozen=True)
class Course:
    """What one run is: where it writes, how long, from where, and what it draws with."""

    out: Path
    minutes: float
    seed: int
    start: Path | None
    workers: int
    part: tuple[float, float]
    of_pads: float
    steps: int
    fonts: Fonts
    digits: Digits
    known: Sequence[Flat]


class _Clock:
    """Seconds since the start, the same for all processes: each takes the first one's every few steps."""

    def __init__(self, device: torch.device, shared: bool) -> None:
        self._began = time.monotonic()
        self._device, self._shared, self._now, self._asked = device, shared, 0.0, 0

    def __call__(self) -> float:
        if not self._shared:
            return time.monotonic() - self._began
        if self._asked % _MEET == 0:
            now = torch.tensor([time.monotonic() - self._began], device=self._device)
            distributed.broadcast(now, 0)
            self._now = float(now.item())
        self._asked += 1
        return self._now


def train(rank: int, world: int, course: Course) -> None:
    """Train as one of `world` processes; the first writes ``boxes.pt`` (the running mean of the weights) now and then."""
    torch.manual_seed(course.seed)
    cuda = torch.cuda.is_available()
    device = torch.device("cuda", rank) if cuda else torch.device("cpu")
    if cuda:
        torch.cuda.set_device(device)
    torch.backends.cudnn.benchmark = True
    if world > 1:
        distributed.init_process_group("nccl" if cuda else "gloo")
    finder = BoxFinder().to(device).to(memory_format=torch.channels_last)
    if course.start is not None:
        state = torch.load(course.start, map_location=device, weights_only=True)
        finder.load_state_dict({k: v.float() if v.dtype.is_floating_point else v for k, v in state.items()})
    learner: torch.nn.Module = finder
    if world > 1:
        learner = DistributedDataParallel(finder, device_ids=[rank] if cuda else None)
    if rank == 0:
        print(sum(p.numel() for p in finder.parameters()) / 1e6, "million parameters", flush=True)
    loader = torch.utils.data.DataLoader(
        _Forms((course.seed, rank), course.fonts, course.digits, course.known, course.of_pads),
        None,
        num_workers=course.workers,
        prefetch_factor=2 if course.workers else None,
    )
    weights = torch.ones(len(KINDS), device=device)
    weights[0] = _WEIGHT_OF_NOTHING
    tuner = torch.optim.AdamW(finder.parameters(), lr=_RATE, weight_decay=0.03)
    end = 60 * course.minutes
    slow = {k: v.detach().clone() for k, v in finder.state_dict().items()}
    chance = np.random.default_rng([course.seed, rank])
    kept: list[tuple[torch.Tensor, torch.Tensor]] = []
    step, seen, shown, saved = 0, 0, 0.0, 0.0
    sums = np.zeros(4)

    def save() -> None:
        course.out.mkdir(parents=True, exist_ok=True)
        small = {k: v.half() if v.dtype.is_floating_point else v for k, v in slow.items()}
        torch.save(small, course.out / "boxes.pt")

    clock = _Clock(device, world > 1)
    for batch in loader:
        seen += len(batch[0])
        kept.append(batch)
        if len(kept) > _KEPT:
            kept.pop(int(chance.integers(len(kept) - 1)))
        for again in range(_AGAIN):
            now = clock()
            done = course.part[0] + (course.part[1] - course.part[0]) * min(1.0, now / end)
            for group in tuner.param_groups:
                group["lr"] = _RATE * min(1.0, step / 300 + 0.01) * (0.5 + 0.5 * np.cos(np.pi * done)) + 1e-6
            images, targets = batch if again == 0 else kept[int(chance.integers(len(kept)))]
            x = images.to(device, non_blocking=True).permute(0, 3, 1, 2).float()
            y = targets.to(device, non_blocking=True)
            with torch.autocast(device.type, torch.bfloat16, enabled=cuda):
                logits = learner(_relit(x).contiguous(memory_format=torch.channels_last))
            kind, core, pence = _losses(logits.float(), y, weights)
            loss = kind + core + 0.2 * pence
            tuner.zero_grad(set_to_none=True)
            loss.backward()
            torch.nn.utils.clip_grad_norm_(finder.parameters(), 1.0)
            tuner.step()
            step += 1
            keep = min(_DECAY, (step + 1) / (step + 20))
            with torch.no_grad():
                for name, value in finder.state_dict().items():
                    if value.dtype.is_floating_point:
                        slow[name].lerp_(value, 1 - keep)
                    else:
                        slow[name].copy_(value)
            sums += (kind.item(), core.item(), pence.item(), 1)
        if rank == 0 and now - shown > 20:
            shown = now
            mean = sums[:3] / sums[3]
            sums[:] = 0
            print(
                f"{now:5.0f} s step {step} forms {seen * world} kind {mean[0]:.4f} core {mean[1]:.4f} "
                f"pence {mean[2]:.4f}",
                flush=True,
            )
        if rank == 0 and now - saved > 60:
            saved = now
            save()
        if now > end or (course.steps and step >= course.steps):
            break
    if rank == 0:
        save()
    os._exit(0)  # the workers are still drawing; nobody waits for them


def main() -> None:
    """Read the command line and train."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("out", type=Path)
    parser.add_argument("--minutes", type=float, default=9)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--start", type=Path)
    parser.add_argument("--from", type=float, default=0.0, dest="low")
    parser.add_argument("--to", type=float, default=1.0, dest="high")
    parser.add_argument("--workers", type=int, default=15, help="processes that draw, for each GPU")
    parser.add_argument("--fonts", type=Path, required=True)
    parser.add_argument("--mnist", type=Path, required=True)
    parser.add_argument(
        "--writers", type=Path, help="npz with the writer of each picture, if not beside them"
    )
    parser.add_argument("--own", type=int, default=0, help="slips of the sample designs to train on, too")
    parser.add_argument("--pads", type=Path, help="rendered tune pads to train on, too")
    parser.add_argument("--each", type=int, default=6, help="slips of each pad")
    parser.add_argument(
        "--of-pads",
        type=float,
        default=0.25,
        help="share of slips that are of pads; the rest are drawn forms",
    )
    parser.add_argument("--without", nargs="*", default=(), help="pads that are kept to measure on")
    parser.add_argument("--steps", type=int, default=0, help="stop after so many steps (rehearsals)")
    given = parser.parse_args()
    names = pad_names(given.pads, given.without) if given.pads else []
    rank, world = (
        int(os.environ.get(name, default)) for name, default in (("RANK", "0"), ("WORLD_SIZE", "1"))
    )
    known = flats(given.own, given.each, given.pads, names, max(given.workers, 1), rank)
    print(f"{len(known)} slips of {len(names)} pads and variants", flush=True)
    course = Course(
        given.out, given.minutes, given.seed, given.start, given.workers, (given.low, given.high), given.of_pads,
        given.steps, Fonts.load(given.fonts), Digits.load(given.mnist, given.writers), known,
    )  # fmt: skip
    train(rank, world, course)


if __name__ == "__main__":
    main()

"""What each source of ink and each effect brings: ``python -m models.ablate INK.npz [options]``.

Small networks, one for each row of the table, train side by side on the same batches; each is blind to the
pictures that its row leaves out. All are then tried on the same boxes by calibration hands.
"""

import argparse
import math
import time

import cv2
import numpy as np
import torch

from models.camera import MADE
from models.network import PROBE, Network
from models.train import Feed, Pools, exact, losses, options_for, validation

ROWS: dict[str, tuple[str, ...]] = {
    "everything": (),
    "no UNIPEN characters": ("u",),
    "no MNIST": ("m",),
    "no parts of whole numbers": ("n",),
    "no fonts": ("f",),
    "no whole numbers": ("w",),
    "no UNIPEN at all": ("u", "n", "w"),
    "no carbon": ("carbon",),
    "no print in the box": ("print",),
    "no neighbours' ink": ("neighbour",),
}


def ablate(options: argparse.Namespace) -> None:
    """Train the rows for `options.seconds` and print the table."""
    began = time.time()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    cv2.setNumThreads(1)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    feed = Feed(options.ink, options.workers, options.seed)
    networks, optimisers = {}, {}
    for row in ROWS:
        torch.manual_seed(options.seed)  # all rows begin alike
        networks[row] = Network(PROBE).to(device)
        optimisers[row] = torch.optim.AdamW(
            networks[row].parameters(), lr=1e-3, weight_decay=0.02, fused=device.type == "cuda"
        )
    checks = validation(options.ink, options.check)
    pools = Pools(feed, options.room, options.least, device)
    drawn = np.random.default_rng(options.seed)
    left_out = {row: sum(1 << MADE.index(name) for name in names) for row, names in ROWS.items()}
    started, steps = time.time(), 0
    length = options.seconds - (started - began) - options.reserve
    while (now := time.time() - started) < length:
        pools.refresh()
        x, classes, lengths, made = pools.draw(drawn, options.batch)
        rate = (
            options.rate
            * min(1.0, (steps + 1) / 300)
            * max(0.002, 0.5 * (1 + math.cos(math.pi * now / length)))
        )
        for row, network in networks.items():
            with torch.autocast(device.type, torch.bfloat16):
                logits = network(x)
            loss = losses(torch.log_softmax(logits.float(), 2), classes, lengths, cap=now > 0.05 * length)
            seen = ((made & left_out[row]) == 0).float()
            for group in optimisers[row].param_groups:
                group["lr"] = rate
            optimisers[row].zero_grad(set_to_none=True)
            ((loss * seen).sum() / seen.sum().clamp_min(1)).backward()
            torch.nn.utils.clip_grad_norm_(network.parameters(), 5.0)
            optimisers[row].step()
        steps += 1
    feed.stop()
    sizes = {name: sum(len(p[0]) for p in packed.values()) for name, packed in checks.items()}
    print(f"{steps} steps each, {pools.fresh} pictures; best path exact, calibration hands, n {sizes}")
    print(f"{'left out':28s}" + "".join(f"{name:>9s}" for name in checks))
    for row, network in networks.items():
        scores = "".join(f"{exact(network, packed, device):9.2%}" for packed in checks.values())
        print(f"{row:28s}{scores}", flush=True)


def _options() -> argparse.Namespace:
    parser = options_for(argparse.ArgumentParser(description=__doc__))
    parser.add_argument("--reserve", type=float, default=25, help="seconds kept for trying the networks")
    return parser.parse_args()


if __name__ == "__main__":
    ablate(_options())

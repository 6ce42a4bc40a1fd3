"""From a shipped ONNX file back to a network that can learn: ``python -m models.revive teacher FOLDER INK.npz``.

Training leaves its checkpoints with whoever ran it; the weights that ship are all that a later session has.
Weights in eight bits come back as what they stand for. The norms were folded into the convolutions, so each is
given the mean and variance of what passes through it on boxes of the archive, and undoes them: the network
says the same and is fit to learn on.
"""

import argparse
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import onnx
import torch
from onnx import numpy_helper
from torch import nn

from models.export import WEIGHTS
from models.network import SIZES, Network
from models.train import exact, validation

Arrays = dict[str, npt.NDArray[np.generic]]
_BOXES = 1000  # of each set; they settle the norms


def stored(model: onnx.ModelProto) -> Arrays:
    """Return all weights of a model by name, those in eight bits and at half precision as float32."""
    found: Arrays = {t.name: numpy_helper.to_array(t) for t in model.graph.initializer}
    for node in model.graph.node:
        if not node.input or node.input[0] not in found:
            continue
        first = found[node.input[0]]
        if node.op_type == "Cast":
            found[node.output[0]] = first.astype(np.float32)
        elif node.op_type == "DequantizeLinear":
            scale = found[node.input[1]]
            shape = [1] * first.ndim
            if scale.size > 1:
                shape[next((a.i for a in node.attribute if a.name == "axis"), 1)] = -1
            zero = found[node.input[2]].astype(np.float32).reshape(shape) if len(node.input) > 2 else 0.0
            found[node.output[0]] = (first.astype(np.float32) - zero) * scale.reshape(shape)
    return found


def _gates(rows: npt.NDArray[np.generic]) -> torch.Tensor:
    """Bring the gates of a recurrent layer from the order of ONNX (i, o, f, c) to that of torch (i, f, c, o)."""
    i, o, f, c = np.split(rows, 4)
    return torch.from_numpy(np.concatenate([i, f, c, o]))


def _in_turn(network: nn.Module, example: torch.Tensor) -> list[tuple[nn.Conv2d, nn.BatchNorm2d | None]]:
    """Return the convolutions in the order in which they work, each with the norm that follows it, if one does."""
    turns: list[nn.Module] = []
    hooks = [
        m.register_forward_pre_hook(lambda module, _: turns.append(module))
        for m in network.modules()
        if isinstance(m, nn.Conv2d | nn.BatchNorm2d)
    ]
    with torch.no_grad():
        network(example)
    for hook in hooks:
        hook.remove()
    found: list[tuple[nn.Conv2d, nn.BatchNorm2d | None]] = []
    for module, after in zip(turns, [*turns[1:], None], strict=True):
        if isinstance(module, nn.Conv2d):
            found.append((module, after if isinstance(after, nn.BatchNorm2d) else None))
    return found


def revive_convolutions(
    model: onnx.ModelProto, weights: Arrays, network: nn.Module, example: torch.Tensor
) -> None:
    """Give `network` the convolutions of `model`; norms that were folded into them are left to :func:`settle`.

    `example` is anything that passes through the network.

    Raises
    ------
    ValueError
        The model is of another shape.
    """
    nodes = [node for node in model.graph.node if node.op_type == "Conv"]
    convolutions = _in_turn(network, example)
    if len(nodes) != len(convolutions):
        raise ValueError(f"the file has {len(nodes)} convolutions, the network {len(convolutions)}")
    with torch.no_grad():
        for node, (convolution, norm) in zip(nodes, convolutions, strict=True):
            convolution.weight.copy_(torch.from_numpy(weights[node.input[1]].copy()))
            bias = torch.from_numpy(weights[node.input[2]].copy())
            if norm is not None:
                norm.running_mean.zero_()
                norm.running_var.fill_(1 - norm.eps)
                norm.bias.copy_(bias)
            elif convolution.bias is not None:
                convolution.bias.copy_(bias)


def revive(path: Path, size: str) -> Network:
    """Return the network in an ONNX file, its norms not yet settled.

    Raises
    ------
    ValueError
        The file holds a network of another shape.
    """
    model = onnx.load(path)
    weights = stored(model)
    network = Network(SIZES[size]).eval()
    with torch.no_grad():
        revive_convolutions(model, weights, network.picture, torch.zeros(1, 1, 40, 64))
        for layer, node in enumerate(n for n in model.graph.node if n.op_type == "LSTM"):
            into, onward, bias = (weights[name] for name in node.input[1:4])
            for way, end in enumerate(("", "_reverse")):
                half = bias.shape[1] // 2
                for name, rows in (
                    ("weight_ih", into[way]),
                    ("weight_hh", onward[way]),
                    ("bias_ih", bias[way, :half]),
                    ("bias_hh", bias[way, half:]),
                ):
                    getattr(network.row, f"{name}_l{layer}{end}").copy_(_gates(rows))
        last = [n for n in model.graph.node if n.op_type == "MatMul"][-1]
        network.head.weight.copy_(torch.from_numpy(weights[last.input[1]].T.copy()))
        network.head.bias.copy_(torch.from_numpy(weights["network.head.bias"]))
    return network


def settle(network: nn.Module, batches: Iterable[torch.Tensor]) -> None:
    """Give the norms the statistics of what passes through them, and leave what the network says as it is."""
    norms = [m for m in network.modules() if isinstance(m, nn.BatchNorm2d)]
    sums: dict[nn.Module, list[torch.Tensor]] = {}

    def note(norm: nn.Module, given: tuple[torch.Tensor]) -> None:
        x = given[0].double()
        count = torch.tensor(x.numel() / x.shape[1], dtype=torch.float64)
        own = [x.sum((0, 2, 3)), (x * x).sum((0, 2, 3)), count]
        sums[norm] = [a + b for a, b in zip(sums[norm], own, strict=True)] if norm in sums else own

    hooks = [norm.register_forward_pre_hook(note) for norm in norms]
    with torch.no_grad():
        for batch in batches:
            network(batch)
        for hook in hooks:
            hook.remove()
        for norm in norms:
            total, squares, count = sums[norm]
            mean = total / count
            variance = (squares / count - mean * mean).clamp_min(1e-6)
            norm.running_mean.copy_(mean)
            norm.running_var.copy_(variance)
            norm.weight.copy_((variance + norm.eps).sqrt())
            norm.bias.add_(mean)


def revive_maps(
    source: Path, network: nn.Module, shipped: nn.Module, pictures: list[torch.Tensor], target: Path
) -> None:
    """Write the checkpoint of a network of pictures, as training would have left it.

    Parameters
    ----------
    source
        The ONNX file.
    network, shipped
        One to take the weights, and the same as it ships.
    pictures
        (1, 3, H, W) each; they settle the norms.
    """
    model = onnx.load(source)
    network.eval()
    revive_convolutions(model, stored(model), network, pictures[0])
    with torch.no_grad():
        before = shipped(pictures[0])
        settle(network, pictures)
        print(f"largest change of an answer by settling: {(shipped(pictures[0]) - before).abs().max():.1e}")
    target.parent.mkdir(parents=True, exist_ok=True)
    torch.save(network.state_dict(), target)


def main() -> None:
    """Read the command line and write the network as training would have left it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("network", choices=sorted(SIZES))
    parser.add_argument("folder", type=Path)
    parser.add_argument("ink", type=Path)
    parser.add_argument("--source", type=Path, help="the ONNX file, if not the one that ships")
    parser.add_argument("--boxes", type=int, default=_BOXES)
    asked = parser.parse_args()
    network = revive(asked.source or WEIGHTS / f"{asked.network}.onnx", asked.network)
    checks = validation(asked.ink, asked.boxes)
    device = torch.device("cpu")
    print("as found:", {name: exact(network, packed, device) for name, packed in checks.items()})
    network.eval()
    settle(
        network,
        [
            torch.from_numpy(pictures).float()[:, None] / 255
            for packed in checks.values()
            for pictures, _, _ in packed.values()
        ],
    )
    print("settled: ", {name: exact(network, packed, device) for name, packed in checks.items()})
    torch.save(network.state_dict(), asked.folder / f"{asked.network}.pt")


if __name__ == "__main__":
    main()

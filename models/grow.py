"""Deepen a trained seedling into a reader without changing its answers: ``python -m models.grow FROM TO``.

Each new residual block ends in a normalisation with weight 0, so it passes its input on until training moves
it (Chen, Goodfellow, Shlens, "Net2Net", ICLR 2016).
"""

import sys

import torch

from models.network import READER, SEEDLING, Network

_MOVED = {4: 5, 5: 6, 7: 9, 8: 10}  # where the seedling's picture layers stand in the reader
_NEW = (4, 7)


def grow(seedling: Network) -> Network:
    """Return a reader that answers as `seedling` does."""
    reader = Network(READER)
    state = reader.state_dict()
    for name, value in seedling.state_dict().items():
        parts = name.split(".")
        if parts[0] == "picture":
            parts[1] = str(_MOVED.get(int(parts[1]), int(parts[1])))
        state[".".join(parts)] = value
    for layer in _NEW:
        state[f"picture.{layer}.second.1.weight"] = torch.zeros_like(
            state[f"picture.{layer}.second.1.weight"]
        )
    reader.load_state_dict(state)
    return reader


if __name__ == "__main__":
    checkpoint = torch.load(sys.argv[1], map_location="cpu", weights_only=True)
    small = Network(SEEDLING)
    small.load_state_dict(checkpoint["reader"])
    grown = grow(small)
    x = torch.rand(2, 1, 40, 96)
    difference = float((grown.eval()(x) - small.eval()(x)).abs().max())
    print(f"largest difference of the answers: {difference:.2e}")
    torch.save({"reader": grown.state_dict(), "teacher": checkpoint["teacher"]}, sys.argv[2])

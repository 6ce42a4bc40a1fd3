"""The network that finds slips in photos: the scenes it learns from, its shape, its training."""

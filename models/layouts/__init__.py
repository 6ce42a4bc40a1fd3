"""The network that sees where a slip's boxes are and what they are for: its targets, training and export."""

"""What is written in each box, with probabilities."""

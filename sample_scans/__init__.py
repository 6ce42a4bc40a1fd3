"""Photos of invented order slips with their truth, and the code that draws them."""

"""The judge: was the customer's sum right? Pure numbers, no pixels."""

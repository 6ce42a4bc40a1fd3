"""The desk: the whole job in a browser, on this computer, and by invitation on the seller's phone."""

"""Colour, closed paths, pieces of a mask and ranks: what measuring asks of pixels."""

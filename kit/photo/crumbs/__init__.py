"""The cells of a cut face: what is dark, what is a wall, what is one cell."""

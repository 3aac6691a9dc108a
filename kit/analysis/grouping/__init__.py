"""What is one experiment: which pieces share a bake, mixing, dough, shaping or load."""

"""The curve of an outcome over doses, the best dose, and its words."""

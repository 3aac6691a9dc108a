"""The light on a face, and its colour in daylight."""

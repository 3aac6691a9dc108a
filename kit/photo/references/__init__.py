"""How many millimetres a pixel is, by each kind of thing of known size."""

"""From a picture file, whatever it holds, to upright pixels and when it was taken."""

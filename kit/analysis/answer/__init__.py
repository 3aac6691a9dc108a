"""What every answer does alike: the fit, what would settle it, and its sentences."""

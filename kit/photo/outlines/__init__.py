"""Where a piece ends in a side view, and what makes its edge doubtful."""

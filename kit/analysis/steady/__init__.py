"""Where the spread between pieces comes from, and the constants of a control chart."""

"""Photos kept with a trial: whose they are, what they show, what was measured on them."""

"""How small a difference a plan will notice, in closed form or by simulated trials."""

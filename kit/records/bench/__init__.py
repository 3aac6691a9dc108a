"""The running bake: stages with their times, where everything is, the lengths they give."""

"""The solid of revolution behind an outline: a ball, a piece, dough in a jar."""

"""Which settings go to which dough, load and place; what cannot be told apart."""

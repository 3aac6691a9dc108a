"""Curves of rising dough, how they are read, and what is known before a forecast."""

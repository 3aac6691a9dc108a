"""Blind tastings: planned, answered by code, opened at the end."""

"""Bake trials: plan them, record them, compare them honestly, share the page."""

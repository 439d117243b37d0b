"""Decisions before the levers: which tuning, which key, which harp, in which order."""

"""Walls that a die lets go of, on the height field."""

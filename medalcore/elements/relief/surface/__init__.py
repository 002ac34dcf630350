"""The height field as a surface, and the closed solid below it."""

"""Pieces over all elements, whose bytes tell whether a change of the code changed a piece."""

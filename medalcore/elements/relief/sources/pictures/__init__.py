"""Depth pictures with all their bits, read and placed."""

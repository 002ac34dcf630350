"""Medalwright's core: from a spec to a two-sided piece as one closed solid."""

__version__ = "0.1.0"

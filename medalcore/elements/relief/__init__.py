"""Reliefs: a three-dimensional model becomes low relief on the field of a face."""

from .build import build_relief, model_relief

__all__ = ["build_relief", "model_relief"]

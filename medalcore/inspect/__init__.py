"""Read-only checks of a finished piece against its spec: findings, never changes."""

from .checks import inspect, worst_first
from .size import Size, size_of

__all__ = ["Size", "inspect", "size_of", "worst_first"]

"""Read-only checks of a finished piece against its spec: findings, never changes."""

from .checks import inspect

__all__ = ["inspect"]

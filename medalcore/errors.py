"""What goes wrong, told in one line a person can act on.

Every error the core raises on purpose is a `MedalError`. The message says what is
wrong, where, and what would be right; interfaces show it as it is, without a traceback.
"""

from __future__ import annotations


class MedalError(Exception):
    """The root of everything the core raises on purpose."""


class SpecError(MedalError, ValueError):
    """A spec asks for something that is not a spec, or not allowed.

    Parameters
    ----------
    message : str
        What is wrong and what would be right.
    key : str
        Dotted path of the key, such as ``obverse.relief[0].height``; may be empty.
    file : str
        The file the spec was read from; may be empty.
    """

    def __init__(self, message: str, *, key: str = "", file: str = "") -> None:
        self.key = key
        self.file = file
        self.plain = message
        super().__init__(": ".join(part for part in (file, key, message) if part))

    def at(self, prefix: str) -> SpecError:
        """Return the same error with `prefix` put before its key."""
        inner = self.key if self.key.startswith("[") or not self.key else f".{self.key}"
        return SpecError(self.plain, key=f"{prefix}{inner}", file=self.file)


class SourceError(MedalError, ValueError):
    """A model, picture, drawing or font cannot be used."""


class SolidError(MedalError, RuntimeError):
    """Geometry did not come out as one closed solid."""


class DeliveryError(MedalError, RuntimeError):
    """Files cannot be written, or must not be replaced."""


class Cancelled(MedalError):
    """The caller asked the build to stop."""

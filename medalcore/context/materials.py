"""The table of materials: densities with their sources."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files

import msgspec

from ..errors import SpecError


class Material(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One material.

    Attributes
    ----------
    title : str
    density : float
        g/cm³.
    source : str
        Where the density was read.
    nickel : bool
        Whether it can release nickel on the skin.
    """

    title: str
    density: float
    source: str
    nickel: bool = False

    def mass_g(self, volume_mm3: float) -> float:
        """Return the mass in g of a volume in mm³."""
        return volume_mm3 * self.density / 1000.0


_DATA = files(__package__.rpartition(".")[0]).joinpath("data", "materials.toml")


@lru_cache(maxsize=1)
def materials() -> Mapping[str, Material]:
    """Return the table of materials, read once from the package's own data."""
    text = _DATA.read_text(encoding="utf-8")
    return msgspec.convert(tomllib.loads(text), dict[str, Material])


def material_named(name: str, key: str = "medal.metal") -> Material:
    """Return a material by its name in the table; `key` is where a spec names it.

    Raises
    ------
    SpecError
        With the nearest name and all that there are.
    """
    table = materials()
    if name in table:
        return table[name]
    near = difflib.get_close_matches(name.lower(), table, 1, 0.5)
    hint = f"did you mean '{near[0]}'? " if near else ""
    raise SpecError(f'"{name}" is not known; {hint}known are: {", ".join(table)}', key=key)

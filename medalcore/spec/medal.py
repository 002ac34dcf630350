"""The whole spec of a piece."""

from __future__ import annotations

import re
import unicodedata
from typing import Annotated, Literal

import msgspec

from .base import Table, doc, left_away
from .blank import Blank, Rim
from .border import Border
from .edge import Edge
from .emblem import Emblem
from .field import Field
from .lettering import Exergue, Inscription, Legend
from .relief import Relief
from .texture import Texture

_MARKED = str.maketrans(
    {"ł": "l", "ø": "o", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "\u0131": "i"}
)
"""Letters that Unicode does not take apart, as they are written without their mark."""

_LONGEST = 80
"""Characters of a file name, so that it fits below folders: paths of 260 are Windows' limit."""

_DEVICE = re.compile(r"con|prn|aux|nul|(com|lpt)[0-9]")
"""Names that Windows keeps for devices, whatever follows a dot (Microsoft, *Naming Files, Paths,
and Namespaces*)."""


class Identity(Table, frozen=True):
    """What the piece is called, what it is of, and how it will be made."""

    name: Annotated[
        str, doc("Name of the piece; names the files too", min_length=1, max_length=200)
    ] = "Medal"
    process: Annotated[
        Literal["struck", "cast", "milled", "printed"], doc("How the piece will be made")
    ] = "struck"
    metal: Annotated[
        str,
        doc(
            "Metal or other material, by its name in the table of materials",
            role="metal",
            min_length=1,
        ),
    ] = "bronze"
    price: Annotated[
        float,
        doc(
            "Price of the metal for one gram, in a currency of your own; 0 is none",
            label="Price per Gram",
            auto=left_away(1.0),
            ge=0,
            le=1e6,
        ),
    ] = 0.0
    alignment: Annotated[
        Literal["medal", "coin"] | float,
        doc(
            "Axis the piece is turned over: medal (upright), coin (level), or degrees clockwise "
            "from upright, seen on the obverse",
            label="Turned Over",
            role="angle",
            words={"coin": "Level (Coin)", "medal": "Upright (Medal)"},
        ),
    ] = "medal"

    @property
    def slug(self) -> str:
        """Return the name as a file name that every system takes.

        Lower case, hyphens, plain letters; not long, and no name that Windows keeps for devices.
        """
        plain = unicodedata.normalize("NFKD", self.name.casefold())  # which writes ß as ss
        letters = plain.translate(_MARKED).encode("ascii", "ignore").decode().lower()
        words = re.sub(r"[^a-z0-9]+", "-", letters).strip("-")
        short = words[:_LONGEST].strip("-") or "medal"
        return f"{short}-medal" if _DEVICE.fullmatch(short) else short


class Face(Table, frozen=True):
    """One side of the piece."""

    field: Field = Field()
    rim: Annotated[
        Rim | None,
        doc("A rim of this face's own, wholly in place of the blank's", label="Rim of Its Own"),
    ] = None
    relief: tuple[Relief, ...] = ()
    legend: tuple[Legend, ...] = ()
    inscription: tuple[Inscription, ...] = ()
    exergue: tuple[Exergue, ...] = ()
    border: tuple[Border, ...] = ()
    emblem: tuple[Emblem, ...] = ()
    texture: tuple[Texture, ...] = ()


class MedalSpec(Table, frozen=True):
    """Everything that is asked for, and nothing that is computed from it."""

    medal: Annotated[Identity, doc(label="Name, Metal, Process")] = msgspec.field(
        default_factory=Identity
    )
    blank: Blank = msgspec.field(default_factory=Blank)
    edge: Edge = msgspec.field(default_factory=Edge)
    obverse: Face = msgspec.field(default_factory=Face)
    reverse: Face = msgspec.field(default_factory=Face)

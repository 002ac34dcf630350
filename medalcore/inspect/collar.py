"""What a striking collar holds fast: said of struck pieces only."""

from __future__ import annotations

from ..context.element import Finding
from ..spec import MedalSpec


def collar_findings(spec: MedalSpec) -> list[Finding]:
    """Return what of a struck piece's edge cannot leave a plain collar, along the axis.

    A collar lets go only along the axis (common practice, no source).
    """
    if spec.medal.process != "struck":
        return []
    found = []
    edge = spec.edge
    if "reeded" in edge.finish and edge.slant:
        found.append(
            Finding(
                "slanted-reeds",
                "warning",
                f"reeds slanted by {edge.slant:g} degrees cannot leave a striking collar, which "
                "lets go only along the axis; they must be rolled or cut afterwards",
                "edge.slant",
                abs(edge.slant),
                0.0,
            )
        )
    if edge.text.words and edge.text.form == "raised":
        found.append(
            Finding(
                "raised-edge-words",
                "note",
                f"raised words stand {edge.text.depth:g} mm beyond the edge; struck, they need a "
                "collar in segments",
                "edge.text",
                edge.text.depth,
            )
        )
    return found

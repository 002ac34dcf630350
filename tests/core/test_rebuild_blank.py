"""A changed blank or edge: what stands on it is built again only if it has to be."""

import numpy as np
import pytest

from medalcore import StageCache, build
from medalcore.errors import SpecError
from medalcore.piece import assemble
from medalcore.spec import spec_from_dict


def piece(blank=None, edge=None, **legend):
    face = {
        "legend": [{"text": "LIT", "cap_height": 2.0, "radius": 12.0, **legend}],
        "border": [{"kind": "beads", "count": 40, "radius": 16.5, "size": 0.8}],
    }
    table = {"diameter": 40.0, "thickness": 3.2, **(blank or {})}
    return spec_from_dict({"blank": table, "edge": edge or {}, "obverse": face})


@pytest.fixture
def worked(monkeypatch):
    """Tell which elements are really built."""
    done = []

    def counting(kind, make):
        def once(table, context):
            done.append(kind)
            return make(table, context)

        return once

    counted = {kind: counting(kind, make) for kind, make in assemble.ELEMENTS.items()}
    monkeypatch.setattr(assemble, "ELEMENTS", counted)
    return done


@pytest.mark.parametrize(
    ("blank", "edge", "again"),
    [
        ({"thickness": 3.3}, {}, []),
        ({"thickness": 4.1}, {}, []),
        ({"rim": {"slope": 0.0, "height": 0.35}}, {}, []),
        ({"chamfer": 0.35}, {}, ["border", "legend"]),  # the field is smaller now
        ({}, {"finish": "reeded"}, []),
        ({}, {"finish": "reeded and grooved", "slant": 10.0}, []),
    ],
)
def test_a_change_of_the_blank_leaves_what_does_not_depend_on_it(worked, blank, edge, again):
    """And the piece is the same, to the bit, as one made from nothing."""
    cache = StageCache()
    build(piece({"rim": {"slope": 0.0}}), "draft", cache=cache)
    worked.clear()
    blank = {"rim": {"slope": 0.0}, **blank}
    kept = build(piece(blank, edge), "draft", cache=cache)
    assert worked == again
    fresh = build(piece(blank, edge), "draft")
    assert np.array_equal(kept.vertices, fresh.vertices)
    assert np.array_equal(kept.triangles, fresh.triangles)
    assert np.array_equal(kept.zone, fresh.zone)


def test_letters_rise_with_a_thicker_piece():
    """A legend's top stands its height above the field: half of the thickness less the rim."""
    for thickness in (2.4, 3.2, 6.0):
        made = build(piece({"thickness": thickness}, height=0.2), "draft")
        words = made.triangles[made.zone == made.zone_names.index("legend")]
        assert made.vertices[words][:, :, 2].max() == pytest.approx(
            thickness / 2 - 0.3 + 0.2, abs=1e-6
        )


def test_deep_letters_have_all_the_room_there_is():
    """Deeper than most: cut as asked, and the limit that is told is that of the whole piece."""
    deep = piece({"thickness": 6.0}, work="sunk", depth=1.5)
    made = build(deep, "draft")
    words = made.triangles[made.zone == made.zone_names.index("legend")]
    assert made.vertices[words][:, :, 2].min() == pytest.approx(3.0 - 0.3 - 1.5, abs=1e-6)
    with pytest.raises(SpecError, match=r"at most 2\.43 mm"):
        # half of the 5.4 mm between the fields, less a twentieth of them
        build(piece({"thickness": 6.0}, work="sunk", depth=2.6), "draft")

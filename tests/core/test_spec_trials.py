"""A few seeds of the trials of `scripts/try_specs.py`, and that its checks can fail."""

import time
from dataclasses import replace

import hostile_files as hostile
import msgspec
import numpy as np
import pytest
import spec_trials

from medalcore.elements.relief.sources.model import read_model, source_mesh
from medalcore.elements.relief.sources.pictures.depth_picture import read_picture
from medalcore.errors import SourceError, SpecError
from medalcore.piece.build import build
from medalcore.spec import spec_from_dict
from medalcore.svg.drawing import read_drawing


@pytest.mark.parametrize(
    ("kind", "first", "count"), [("valid", 0, 5), ("wrong", 0, 8), ("faults", 0, 6)]
)
def test_random_trials_find_nothing(kind, first, count, tmp_path, capsys):
    counts = spec_trials.run([kind], first, count, 0.0, tmp_path)
    assert sum(counts.values()) == count
    assert f"{kind} fault" not in counts, capsys.readouterr().out


@pytest.fixture(scope="module")
def small():
    return build(spec_from_dict({"blank": {"diameter": 12.0, "thickness": 1.2}}), "draft")


def test_checks_of_a_piece_can_fail(small):
    """Each of them sees the fault it is there for, and nothing in a sound piece."""
    spec = msgspec.to_builtins(spec_from_dict({"blank": {"diameter": 12.0, "thickness": 1.2}}))
    assert not list(spec_trials.unsound(small, spec))
    report = dict(small.report)

    def told(medal, **facts):
        return " ".join(spec_trials.unsound(replace(medal, report=report | facts), spec))

    assert "open" in told(replace(small, triangles=small.triangles[1:]))
    assert "volume" in told(small, volume_mm3=report["volume_mm3"] * 1.001)
    assert "bodies" in told(small, bodies=2)
    assert "mass" in told(small, mass_g=report["mass_g"] * 1.001)
    assert "for 12" in told(replace(small, vertices=small.vertices * [1.01, 1.0, 1.0]))
    assert "look backwards" in told(replace(small, side=-small.side))


_ODD = {
    "opacity in percent": "translucency", "opacity by word": "opacity", "no opacity": None,
    "miter limit by word": "mitre limit", "crossings": None, "scale 1e200": None,
    "touching corners": None,
}  # fmt: skip


@pytest.mark.parametrize(("name", "told"), _ODD.items(), ids=_ODD)
def test_odd_drawings_are_read(name, told, tmp_path):
    """SVG 2 gives opacity as a number or a percentage; what is neither counts as not given."""
    path = str(tmp_path / hostile.DRAWINGS[name](tmp_path))
    drawing = read_drawing(path, 10.0, 0.01, frozenset())
    said = " ".join(drawing.left_out)
    assert (told in said) if told else not said
    side = np.ptp(np.concatenate(drawing.contours), axis=0)
    assert side == pytest.approx([10.0, 10.0], abs=0.05)


def test_a_path_that_crosses_itself_is_filled(tmp_path):
    """A bow of two triangles has no signed area, and is drawn: half of its square."""
    path = str(tmp_path / hostile.DRAWINGS["crossings"](tmp_path))
    drawing = read_drawing(path, 10.0, 0.01, frozenset())
    shape = sum(abs(_area(c)) for c in drawing.contours)
    assert shape == pytest.approx(50.0, rel=1e-3)


def _area(points):
    x, y = points.T
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


_DRAWINGS = {
    "uses that double": "100,663,295 shapes; at most 5,000",
    "100000 paths": "100,000 shapes; at most 5,000",
    "a path of a million turns": "characters of path data|amplification",
    "width 1e400": "no numbers, or too far away",
    "a stroke wider than all": "far wider than the whole drawing",
    "1e12 beside 1e-6": "leaves a mark",
    "a use of itself": "uses itself",
}


_MODELS = {
    "components that double": "uses its meshes more than 2,000 times",
    "a chain of nodes": "5,001 nodes, at most 2,000",
    "a count of 1e18": "1,000,000,000,000,000,000 numbers",
    "corners of 1e38": "units from its origin",
}


def _read_drawing(path):
    read_drawing(path, 10.0, 0.01, frozenset())


def _read_model(path):
    read_model(path, {})


@pytest.mark.parametrize(
    ("write", "read", "why"),
    [(hostile.DRAWINGS[name], _read_drawing, why) for name, why in _DRAWINGS.items()]
    + [(hostile.MODELS[name], _read_model, why) for name, why in _MODELS.items()],
    ids=[*_DRAWINGS, *_MODELS],
)
def test_what_cannot_be_worked_is_refused_soon(write, read, why, tmp_path):
    path = str(tmp_path / write(tmp_path))
    start = time.process_time()
    with pytest.raises(SourceError, match=why):
        read(path)
    assert time.process_time() - start < 5.0


def test_copies_of_a_triangle_are_one():
    """They hide each other: only the first is painted, however many there are."""
    corners = np.array([[0, 0, 0], [5, 0, 1], [0, 5, 2], [5, 5, 0]], dtype=float)
    faces = np.array([[0, 1, 2]] * 50 + [[1, 3, 2]] + [[2, 0, 1]] * 9)
    model = source_mesh(corners, faces, "copies", {})
    assert model.triangles.tolist() == [[0, 1, 2], [1, 3, 2]]
    assert model.topology.crowded_edges == 3
    plain = source_mesh(corners, faces[[0, 50]], "two", {})
    assert np.array_equal(plain.triangles, model.triangles)


def test_a_huge_picture_is_thinned_and_says_so(tmp_path):
    """9000 pixels a side are more than any relief holds; of a ramp every third says the same."""
    cols, rows = 9000, 40
    line = bytes(1) + bytes(np.linspace(0, 255, cols).astype(np.uint8))
    path = tmp_path / "ramp.png"
    path.write_bytes(hostile.png(cols, rows, line * rows))
    picture = read_picture(str(path))
    assert picture.values.shape == (rows // 3, cols // 3)
    assert "9000 x 40 pixels; one in 3" in picture.notes[0]
    ramp = np.linspace(0.0, 1.0, cols // 3)
    assert np.abs(picture.values[rows // 6] - ramp).max() < 1.0 / 255


def test_a_separator_is_a_mark():
    legend = {"text": "A", "separator": "x" * 5000}
    with pytest.raises(SpecError, match="5000 characters is no mark; at most 24"):
        build(spec_from_dict({"obverse": {"legend": [legend]}}), "draft")

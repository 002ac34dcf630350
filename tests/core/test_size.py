"""Sizes as a maker reads them, against shapely, scipy and trimesh on the finished mesh."""

import io

import numpy as np
import pytest
import shapely
from PIL import Image
from scipy.spatial import ConvexHull
from scipy.spatial.distance import pdist

from medalcore import build, parse_spec
from medalcore.cli import main
from medalcore.deliver import deliver

TEN_MICRONS = 0.01
"""mm; what hundredths are told to."""

EGG = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 40">'
    '<path d="M2 20 C2 4 30 0 58 12 L58 28 C30 40 2 36 2 20 Z"/></svg>'
)
ROUND = {
    "round": "",
    "reeded": '[edge]\nfinish = "reeded"',
}
SIDED = {
    "oval": 'outline = "oval"\nheight = 12.0',
    "oval turned": 'outline = "oval"\nheight = 12.0\nturn = 30',
    "tall oval": 'outline = "oval"\nheight = 26.0',
    "rectangle": 'outline = "rectangle"\nheight = 12.0',
    "rectangle turned": 'outline = "rectangle"\nheight = 12.0\nturn = 30',
}
OTHER = {
    "hexagon": 'outline = "polygon"\nsides = 6',
    "heptagon": 'outline = "polygon"\nsides = 7\nturn = 11',
    "constant width": 'outline = "constant-width"\nsides = 5',
    "three lobes": 'outline = "scalloped"\nscallops = 3',
    "hollows": 'outline = "scalloped"\nscallops = 9\nscallop_shape = "notches"',
    "drawing": 'outline = "drawing"\ndrawing = "egg.svg"',
}


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Return a function that builds a piece of 20 mm, each once."""
    folder = tmp_path_factory.mktemp("outlines")
    (folder / "egg.svg").write_text(EGG)
    known = {}

    def make(text):
        if text not in known:
            known[text] = build(
                parse_spec("[blank]\ndiameter = 20.0\n" + text, folder=folder), "draft"
            )
        return known[text]

    return make


def seen(medal):
    return shapely.MultiPoint(medal.vertices[:, :2]).convex_hull


def sides_of(rectangle):
    x, y = rectangle.exterior.xy
    return sorted(np.hypot(np.diff(x), np.diff(y))[:2])


@pytest.mark.parametrize("name", ROUND)
def test_a_round_piece_is_told_by_its_diameter(built, name):
    medal = built(ROUND[name])
    across = 2.0 * shapely.minimum_bounding_radius(seen(medal))
    assert medal.report["diameter_mm"] == pytest.approx(across, abs=TEN_MICRONS)
    assert medal.report["size"] == "diameter 20.00 mm, thickness 3.00 mm"


@pytest.mark.parametrize("name", SIDED)
def test_ovals_and_rectangles_by_their_own_width_and_height(built, name):
    medal = built(SIDED[name])
    report = medal.report
    short, long = sides_of(shapely.minimum_rotated_rectangle(seen(medal)))
    measured = report["width_mm"], report["height_mm"]
    assert sorted(measured) == pytest.approx([short, long], abs=TEN_MICRONS)
    assert (measured[0] < measured[1]) == (name == "tall oval")
    assert report["diameter_mm"] is None
    assert report["size"] == f"20.00 x {measured[1]:.2f} x 3.00 mm"


@pytest.mark.parametrize("name", OTHER)
def test_other_outlines_over_all_as_they_stand(built, name):
    medal = built(OTHER[name])
    left, low, right, high = seen(medal).bounds
    report = medal.report
    assert report["width_mm"] == pytest.approx(right - left, abs=1e-5)
    assert report["height_mm"] == pytest.approx(high - low, abs=1e-5)
    assert report["diameter_mm"] is None
    assert report["size"] == f"{right - left:.2f} x {high - low:.2f} x 3.00 mm over all"


@pytest.mark.parametrize("text", [*ROUND.values(), *SIDED.values(), *OTHER.values()])
def test_the_largest_width_is_the_longest_chord(built, text):
    medal = built(text)
    points = medal.vertices[:, :2]
    hull = points[ConvexHull(points).vertices]
    assert medal.report["largest_width_mm"] == pytest.approx(pdist(hull).max(), abs=TEN_MICRONS)
    assert medal.report["over_all_mm"] == pytest.approx(np.ptp(medal.vertices, axis=0), abs=1e-5)


@pytest.mark.parametrize(
    ("extra", "words", "over"),
    [
        ('[blank.loop]\nkind = "lug"', "with loop", 0.5),
        ('[edge.text]\nwords = "HIGH"\nform = "raised"\ndepth = 0.3', "with raised words", 0.25),
    ],
)
def test_what_reaches_beyond_the_edge_is_told_apart(built, extra, words, over):
    medal = built(extra)
    low, high = medal.vertices[:, 1].min(), medal.vertices[:, 1].max()
    assert high - low > 20.0 + over
    assert medal.report["height_mm"] == pytest.approx(20.0, abs=1e-5)
    assert f"; {words} " in medal.report["size"]
    assert f"{high - low:.2f} mm" in medal.report["size"]


def test_an_eye_at_the_end_of_an_oval_does_not_shorten_it(built):
    medal = built('outline = "oval"\nheight = 26.0\n[blank.loop]\nkind = "eye"')
    assert medal.report["height_mm"] == pytest.approx(26.0, abs=0.002)
    assert medal.report["largest_width_mm"] == pytest.approx(26.0, abs=0.002)
    assert medal.report["size"].startswith("20.00 x 26.00 x 3.00 mm; with loop ")


@pytest.mark.parametrize("kind", ["eye", "lug"])
@pytest.mark.parametrize(
    "outline", ['outline = "polygon"\nsides = 5', OTHER["three lobes"], OTHER["drawing"]]
)
def test_a_loop_hides_nothing_of_any_outline(built, outline, kind):
    """The same piece without its loop, measured on its mesh."""
    bare = seen(built(outline)).bounds
    report = built(f'{outline}\n[blank.loop]\nkind = "{kind}"').report
    assert report["width_mm"] == pytest.approx(bare[2] - bare[0], abs=TEN_MICRONS)
    assert report["height_mm"] == pytest.approx(bare[3] - bare[1], abs=TEN_MICRONS)


@pytest.mark.parametrize(("kind", "told"), [("eye", True), ("lug", False)])
def test_an_eye_thicker_than_the_piece_is_told_with_its_thickness(built, kind, told):
    medal = built(f'[blank.loop]\nkind = "{kind}"')
    wide, high, deep = np.ptp(medal.vertices, axis=0)
    assert (deep > 3.0 + 0.1) == told
    more = f" x {deep:.2f} mm" if told else " mm"
    assert medal.report["size"].endswith(f"; with loop {wide:.2f} x {high:.2f}{more}")


@pytest.mark.parametrize(
    "extra",
    [
        "[blank.drill]\ndiameter = 2.0\ninset = 3.9",
        "[blank.core]\ndiameter = 12.0",
        '[blank.hole]\nshape = "round"\nsize = 6.0',
    ],
)
def test_thickness_is_that_of_the_edge_whatever_the_holes_cut_through(built, extra):
    """A panel of 1.5 mm that every hole runs through; the rim stands 0.3 mm above the field."""
    panel = "[[obverse.field.circle]]\nradius = 8.0\nwidth = 3.6\nheight = 1.5\n"
    medal = built(f"{extra}\n{panel}")
    assert np.ptp(medal.vertices[:, 2]) == pytest.approx(3.0 + 1.5 - 0.3, abs=1e-5)
    assert medal.report["thickness_mm"] == pytest.approx(3.0, abs=1e-5)


@pytest.mark.usefixtures("small_pictures")
def test_summary_and_pictures_tell_the_same(built, tmp_path, capsys):
    """``Title`` is a keyword of the PNG specification, section 11.3.3.1."""
    medal = built(SIDED["oval"])
    deliver(medal, tmp_path / "api", size=64)
    face = Image.open(io.BytesIO((tmp_path / "api" / "obverse.png").read_bytes()))
    assert face.text["Title"] == "Medal, obverse, 20.00 x 12.00 x 3.00 mm"
    (tmp_path / "a.toml").write_text('[blank]\ndiameter = 20.0\noutline = "oval"\nheight = 12.0\n')
    assert (
        main(
            [
                "build",
                str(tmp_path / "a.toml"),
                "--out",
                str(tmp_path / "cli"),
                "--quality",
                "draft",
            ]
        )
        == 0
    )
    assert capsys.readouterr().out.startswith("Medal: 20.00 x 12.00 x 3.00 mm\n")

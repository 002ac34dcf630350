"""Specs and files as other systems, other programs and mistakes make them: one sentence each."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import tifffile

from medalcore import build, parse_spec, read_spec
from medalcore.elements.lettering.fonts import find_typeface
from medalcore.elements.lettering.shaping import read_axes, read_features, read_kerning
from medalcore.elements.relief.sources.model import read_model
from medalcore.elements.relief.sources.pictures.depth_picture import read_picture
from medalcore.errors import MedalError, SourceError, SpecError
from medalcore.svg.drawing import read_drawing

ROOT = Path(__file__).resolve().parents[2]
posix = pytest.mark.skipif(os.name != "posix", reason="needs fork, pipes and users as POSIX has")
LEGEND = '[[obverse.legend]]\ntext = "AV"\n'
RELIEF = '[[obverse.relief]]\nsource = "{}"\n'


# --- specs as people write them ---------------------------------------------------------------


def test_a_byte_order_mark_is_read_over(tmp_path):
    path = tmp_path / "piece.toml"
    path.write_bytes(b"\xef\xbb\xbf" + '[medal]\r\nname = "Łódź"\r\n'.encode())
    assert read_spec(path).medal.name == "Łódź"


@pytest.mark.parametrize(
    "line",
    [
        r'source = "C:\Users\me\head.stl"',  # no escape of TOML
        r'source = "D:\tools\new\face.stl"',  # escapes: tab, line break, form feed
        r'drawing = "D:\table.svg"',
        r'font = "D:\fonts\black.ttf"',
        r'font = "a\u0000.ttf"',
        r'font = "DejaVu\u0007Serif"',
        r'separator = "D:\new.svg"',
    ],
)
def test_backslashes_of_a_path_get_the_sentence_that_helps(line):
    kind = {"source": "relief", "drawing": "emblem"}.get(line.split()[0], "legend")
    with pytest.raises(SpecError, match=r"write paths with / or \\\\, or put them in single quot"):
        parse_spec(f"[[obverse.{kind}]]\n{'' if kind != 'legend' else LEGEND[19:]}{line}\n")


def test_paths_as_people_write_them(tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("USERPROFILE", str(tmp_path / "home"))
    (tmp_path / "piece.toml").write_text(
        "[[obverse.relief]]\nsource = '~/head.stl'\n"
        "[[obverse.relief]]\nsource = '//server/share/head.stl'\n"
        "[[obverse.relief]]\nsource = 'object:Head ~'\n"
        f"{LEGEND}font = '~/own.ttf'\n"
        f"{LEGEND}font = 'serif-bold'\n"
    )
    face = read_spec(tmp_path / "piece.toml").obverse
    home = str(tmp_path / "home")
    sources = [relief.source for relief in face.relief]
    assert sources == [f"{home}/head.stl", "//server/share/head.stl", "object:Head ~"]
    assert [legend.font for legend in face.legend] == [f"{home}/own.ttf", "serif-bold"]


@pytest.mark.parametrize(
    "text",
    [
        "[blank]\ndiameter = " + "1" * 5000,
        "[edge]\nreeds = 0x" + "f" * 40_000,
        "[edge]\nreeds = 0x" + "f" * 4000,
        "x = " + "[" * 500 + "]" * 500,
        "x = " + "[" * 100_000 + "]" * 100_000,
        "x = " + "{a = " * 2000 + "1" + "}" * 2000,
        ".".join("a" * 5000) + " = 1",
        "[medal]\nmetal = [" + "1," * 2000 + "]",
        f'[medal]\nalignment = "{"x" * 10_000}"',
        f"[medal]\n{'x' * 10_000} = 1",
    ],
)
def test_what_no_spec_holds_is_one_short_sentence(text):
    with pytest.raises(SpecError) as caught:
        parse_spec(text, file="piece.toml")
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 600


def test_a_spec_that_never_ends_or_has_no_name_is_refused(tmp_path):
    with pytest.raises(SpecError, match="no file can have this name"):
        read_spec("a\0b.toml")
    with pytest.raises(SpecError, match=r"cannot be read \("):
        read_spec(tmp_path)
    if os.path.exists("/dev/zero"):
        with pytest.raises(SpecError, match="larger than any spec"):
            read_spec("/dev/zero")


# --- numbers in text --------------------------------------------------------------------------


@pytest.mark.parametrize("number", ["nan", "inf", "-inf", "1e999", "1e300", "10001"])
def test_kerning_takes_numbers_that_are_sizes(number):
    with pytest.raises(SpecError, match="AV"):
        read_kerning(f"AV={number}")
    with pytest.raises(SpecError, match=r"^obverse\.legend\[0\]\.kerning: 'AV="):
        build(parse_spec(f'{LEGEND}kerning = "AV={number}"\n'), "draft")


def test_kerning_of_ordinary_size_is_taken():
    assert read_kerning("AV=-40, L'=30.5") == {"AV": -40.0, "L'": 30.5}


@pytest.mark.parametrize("number", ["nan", "inf", "1e999"])
def test_axes_take_numbers(number):
    with pytest.raises(SpecError, match="is no axis value"):
        read_axes(f"wght={number}")


def test_features_take_numbers_a_font_can_hold():
    assert read_features("ss01=2, -liga") == {"ss01": 2, "liga": 0}
    for text in ("smcp=99999999999999999999", "ss01=²"):
        with pytest.raises(SpecError, match="is no OpenType feature"):
            read_features(text)


def test_a_face_of_a_collection_is_a_number():
    for text in ("x.ttc#²", "x.ttc#" + "9" * 5000, "x.ttc#-1"):
        with pytest.raises(SourceError, match="give the face's number"):
            find_typeface(text)


def test_a_pattern_of_millions_of_sections_is_refused():
    edge = '[edge]\nfinish = "reeded"\npattern = "{}"\n'
    with pytest.raises(SpecError, match=r"edge\.pattern: .* sections round the edge; at most"):
        build(parse_spec(edge.format("1e-9 1e-9")), "draft")
    with pytest.raises(SpecError, match=r"edge\.pattern"):
        build(parse_spec(edge.format("nan 60")), "draft")


def test_depths_of_black_and_white_differ(tmp_path):
    tifffile.imwrite(tmp_path / "a.tif", np.linspace(0, 1, 256, dtype=np.float32).reshape(16, 16))
    relief = RELIEF.format((tmp_path / "a.tif").as_posix())
    with pytest.raises(SpecError, match=r"relief\[0\]\.picture\.white: 1 is the depth of black"):
        build(parse_spec(f"{relief}picture = {{black = 1.0, white = 1.0}}"), "draft")


def test_words_of_the_edge_are_named_by_their_key():
    edge = '[edge.text]\nwords = "{}"\nfont = "{}"\n'
    with pytest.raises(SourceError, match=r"^edge\.text\.words: font .* has no glyph for"):
        build(parse_spec(edge.format("AB\\ue000", "sans-bold")), "draft")
    with pytest.raises(SourceError, match=r"^edge\.text\.font: font 'No Such' is neither"):
        build(parse_spec(edge.format("AB", "No Such")), "draft")


# --- files that are none ----------------------------------------------------------------------

READERS: dict[str, Callable[[str], object]] = {
    ".ttf": find_typeface,
    ".stl": lambda name: read_model(name, {}),
    ".png": read_picture,
    ".exr": read_picture,
    ".svg": lambda name: read_drawing(name, 10.0, 0.01, frozenset()),
}


def _in_child(act: Callable[[], None]) -> str:
    """Return what a child says of its fault; it is killed after 20 s."""
    there, here = os.pipe()
    child = os.fork()
    if not child:
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.alarm(20)
        try:
            act()
            said = "nothing"
        except MedalError as error:
            said = str(error)
        except BaseException as error:
            said = f"unexpected {error!r}"
        os.write(here, said.encode()[:4000])
        os._exit(0)
    os.close(here)
    with open(there, "rb") as pipe:
        said = pipe.read().decode()
    os.waitpid(child, 0)
    return said


@posix
@pytest.mark.parametrize("ending", READERS)
def test_a_pipe_is_refused_without_waiting(tmp_path, ending):
    path = tmp_path / f"pipe{ending}"
    os.mkfifo(path)
    said = _in_child(lambda: READERS[ending](str(path)))
    assert f"{path}: is a pipe or a device, not a file" in said


@posix
@pytest.mark.parametrize("ending", READERS)
def test_devices_loops_and_long_names_are_called_what_they_are(tmp_path, ending):
    device, loop = tmp_path / f"device{ending}", tmp_path / f"loop{ending}"
    device.symlink_to("/dev/zero")
    loop.symlink_to(loop)
    folder = tmp_path / f"folder{ending}"
    folder.mkdir()
    for name, words in (
        (str(device), "is a pipe or a device"),
        (str(loop), "is a link that leads back to itself"),
        (str(tmp_path / ("x" * 5000 + ending)), "cannot be read (File name too long)"),
        (str(folder), "is a folder"),
        (str(tmp_path / f"none{ending}"), "there is no such file"),
    ):
        with pytest.raises(SourceError) as caught:
            READERS[ending](name)
        assert words in str(caught.value)


@posix
def test_a_file_without_permission_is_told_by_name():
    """By building, as the store of finished stages looks at files too."""
    code = """
import os, sys
from medalcore import MedalError, build, parse_spec
from medalcore.worker import load_all
load_all()
build(parse_spec(""), "draft")  # reads what is ours while it may
if os.geteuid() == 0:
    os.setuid(12345)  # nothing is refused to the superuser
for text in sys.argv[1:]:
    try:
        build(parse_spec(text), "draft")
    except MedalError as error:
        print(error)
"""
    with tempfile.TemporaryDirectory() as folder:
        os.chmod(folder, 0o755)
        specs = {
            "a.stl": RELIEF, "a.png": RELIEF, "a.ttf": LEGEND + 'font = "{}"\n',
            "a.svg": '[[obverse.emblem]]\ndrawing = "{}"\n',
        }  # fmt: skip
        paths = [Path(folder, name) for name in specs]
        for path in paths:
            path.write_bytes(b"x")
            path.chmod(0)
        texts = [text.format(path) for text, path in zip(specs.values(), paths, strict=True)]
        done = subprocess.run(
            [sys.executable, "-c", code, *texts], env={**os.environ, "PYTHONPATH": str(ROOT)},
            capture_output=True, text=True,
        )  # fmt: skip
    said = done.stdout.splitlines()
    assert len(said) == len(paths), done.stderr[-2000:]
    for line, path in zip(said, paths, strict=True):
        assert line.startswith("obverse.")
        assert line.endswith(f"{path}: cannot be read (Permission denied)")


def test_text_that_is_no_file_is_not_looked_for(monkeypatch):
    """A legend may look like a machine far away, whose answer takes seconds."""
    asked: list[str] = []
    real = os.path.isfile
    monkeypatch.setattr(os.path, "isfile", lambda name: (asked.append(str(name)), real(name))[1])
    build(parse_spec('[[obverse.legend]]\ntext = "// 1914 //"\n'), "draft")
    assert not [name for name in asked if "1914" in name]


def test_floats_too_small_for_arithmetic_are_black(tmp_path):
    """Subnormal numbers of IEEE 754 binary32 reach from 1e-45 to 1.2e-38."""
    values = np.linspace(0, 1e-40, 1024, dtype=np.float32).reshape(32, 32)
    tifffile.imwrite(tmp_path / "a.tif", values)
    picture = read_picture(str(tmp_path / "a.tif"))
    assert not picture.values.any()
    assert "one grey all over" in picture.notes[0]
    small = np.linspace(0, 1e-20, 1024, dtype=np.float32).reshape(32, 32)
    tifffile.imwrite(tmp_path / "b.tif", small)
    assert np.array_equal(read_picture(str(tmp_path / "b.tif")).values, small)


def test_a_font_whose_tables_have_no_names_is_damaged(tmp_path):
    data = bytearray(find_typeface("serif").file.read_bytes())
    data[12] = 0xFF  # the first tag of the table directory (OpenType 1.9.1, "Organization")
    (tmp_path / "a.otf").write_bytes(data)
    with pytest.raises(SourceError, match=r"a\.otf: is damaged"):
        find_typeface(str(tmp_path / "a.otf"))


@posix
def test_fonts_are_found_without_a_home(monkeypatch):
    """As for a user that a container makes up."""

    def unknown(number):
        raise KeyError(number)

    for name in ("HOME", "XDG_DATA_HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("pwd.getpwuid", unknown)
    for name in ("No Such Family", "~/x.ttf"):
        with pytest.raises(SourceError, match=r"is neither a file|there is no such file"):
            find_typeface(name)


# --- the worker -------------------------------------------------------------------------------


def test_the_worker_loads_all_before_it_reads():
    """No compiled module comes later, whatever is read or written (PEP 3149 names them)."""
    code = """
import importlib, sys, tempfile
from pathlib import Path
worker = importlib.import_module("medalcore.worker")

class Asked(BaseException):
    pass

def inbox(stream):
    raise Asked

worker._Inbox = inbox
try:
    worker.main()
except Asked:
    before = set(sys.modules)
assert {"trimesh", "svgelements", "OpenEXR", "PIL.Image", "PIL.PngImagePlugin"} <= before, before
import numpy as np
from PIL import Image
from medalcore import build, parse_spec
from medalcore.deliver import deliver
from medalcore.elements.relief.sources.pictures.depth_picture import read_picture
from medalcore.elements.relief.sources.model import read_model
folder = Path(tempfile.mkdtemp())
medal = build(parse_spec('[blank]\\ndiameter = 20\\n[[obverse.legend]]\\ntext = "A"'), "draft")
paths = deliver(medal, folder, size=16, also=("obj", "glb", "depth"))
for path in paths:
    if path.suffix in (".stl", ".3mf", ".obj", ".glb"):
        read_model(str(path), {})
for ending in ("png", "tif", "jpg", "bmp"):
    Image.fromarray(np.eye(8, dtype=np.uint8)).save(folder / f"a.{ending}")
    read_picture(str(folder / f"a.{ending}"))
late = [m for m in set(sys.modules) - before
        if not str(getattr(sys.modules[m], "__file__", None) or ".py").endswith(".py")]
sys.exit(f"late: {late}" if late else 0)
"""
    done = subprocess.run(
        [sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]

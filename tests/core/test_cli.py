"""The command line: what it writes, what it says, and what it returns."""

import json
import os
import subprocess
import sys

import pytest
import trimesh

from medalcore.cli import main


@pytest.fixture
def spec(tmp_path):
    path = tmp_path / "piece.toml"
    path.write_text('[medal]\nname = "Fennick Light"\n[[obverse.legend]]\ntext = "FENNICK"\n')
    return path


@pytest.mark.slow
def test_build_writes_the_set_of_files_and_an_honest_summary(spec, tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["build", str(spec), "--out", str(out), "--quality", "draft"]) == 0
    names = {p.name for p in out.iterdir()}
    slug = "fennick-light"
    assert names == {
        f"{slug}.stl", f"{slug}.3mf", f"{slug}.report.json", "obverse.png", "reverse.png",
    }  # fmt: skip
    report = json.loads((out / f"{slug}.report.json").read_text())
    stl = out / f"{slug}.stl"
    assert stl.stat().st_size == 84 + 50 * report["triangles"]  # STL's own layout
    mesh = trimesh.load_mesh(stl)
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(report["volume_mm3"], rel=1e-6)
    said = capsys.readouterr().out
    for word in (
        "diameter 40.00 mm, thickness 3.00 mm",
        f"{report['mass_g']:.2f} g",
        "closed: yes",
        str(stl),
    ):
        assert word in said


@pytest.mark.usefixtures("small_pictures")
def test_nothing_is_overwritten_unless_asked(spec, tmp_path, capsys):
    out = tmp_path / "out"
    out.mkdir()
    (out / "obverse.png").write_text("mine")
    command = ["build", str(spec), "--out", str(out), "--quality", "draft"]
    assert main(command) == 2
    assert (out / "obverse.png").read_text() == "mine"
    assert len(list(out.iterdir())) == 1
    assert "--overwrite" in capsys.readouterr().err
    assert main([*command, "--overwrite"]) == 0
    assert (out / "obverse.png").read_bytes()[:4] == b"\x89PNG"


@pytest.mark.parametrize(
    "text", ["[blank]\ndiamter = 3", '[[obverse.legend]]\ntext = "\\ue000"', "[bla"]
)
def test_a_mistake_is_one_line_exit_2_and_no_files(tmp_path, capsys, text):
    path = tmp_path / "bad.toml"
    path.write_text(text)
    out = tmp_path / "out"
    assert main(["build", str(path), "--out", str(out)]) == 2
    lines = capsys.readouterr().err.strip().splitlines()
    assert len(lines) == 1
    assert "Traceback" not in lines[0]
    assert not out.exists()


@pytest.mark.usefixtures("small_pictures")
def test_new_writes_a_spec_that_builds(tmp_path, capsys):
    path = tmp_path / "start.toml"
    assert main(["new", str(path)]) == 0
    assert main(["new", str(path)]) == 2
    out = tmp_path / "out"
    assert main(["build", str(path), "--out", str(out), "--quality", "draft"]) == 0
    assert (out / "my-medal.stl").exists()


def test_schema_prints_json(capsys):
    assert main(["schema"]) == 0
    assert "$defs" in json.loads(capsys.readouterr().out)


def test_the_module_runs_as_a_program(tmp_path):
    command = [sys.executable, "-m", "medalcore", "build", "none.toml", "--out", "x"]
    done = subprocess.run(
        command, cwd=tmp_path, capture_output=True, text=True, env={**os.environ, "COLUMNS": "200"}
    )
    assert done.returncode == 2
    assert done.stderr == "python -m medalcore: none.toml: there is no such file\n"


def test_a_bug_of_ours_is_one_line_too(spec, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("medalcore.spec.files.tomllib.loads", lambda text: 1 / 0)
    assert main(["build", str(spec), "--out", str(tmp_path / "out")]) == 2
    assert "ZeroDivisionError" in capsys.readouterr().err

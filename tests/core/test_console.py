"""The command among consoles that are closed, full, gone, or unable to show a letter."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from medalcore.cli import main
from medalcore.errors import one_line, shortened

ROOT = Path(__file__).resolve().parents[2]
posix = pytest.mark.skipif(os.name != "posix", reason="needs a shell and devices as POSIX has them")

# the real command with pictures of 64 pixels, which are most of its work
QUICK = (
    "import functools, sys, medalcore.deliver as d; "
    "d.deliver = functools.partial(d.deliver, size=64); "
    "from medalcore.cli import main; sys.exit(main(sys.argv[1:], 'medalcore'))"
)
TINY = '[medal]\nname = "{}"\n[blank]\ndiameter = 8.0\nthickness = 1.0\n'


@pytest.fixture
def tiny(tmp_path: Path) -> Path:
    path = tmp_path / "tiny.toml"
    path.write_text(TINY.format("Gr\u00f6\u00dfe \u0141\u00f3d\u017a \\u001b[31m"), "utf-8")
    return path


def _environment(**more: str) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "0", **more}


def _shell(command: str, folder: Path, **more: str) -> subprocess.CompletedProcess[bytes]:
    """Run a line of shell in which ``medalcore`` is the command."""
    quick = f'medalcore() {{ "{sys.executable}" -c "{QUICK}" "$@"; }}; '
    return subprocess.run(
        ["sh", "-c", quick + command], cwd=folder, capture_output=True, env=_environment(**more)
    )


BUILD = "medalcore build tiny.toml --out out --quality draft --overwrite"


@posix
@pytest.mark.parametrize("encoding", ["cp1252", "ascii"])
def test_letters_the_console_lacks_fail_nothing(tiny, tmp_path, encoding):
    """As on a Windows pipe; with standard error closed as well."""
    done = _shell(f"{BUILD} 2>&-", tmp_path, PYTHONIOENCODING=encoding)
    assert done.returncode == 0, done.stderr
    assert len(list((tmp_path / "out").iterdir())) == 5
    told = done.stdout.decode(encoding)
    assert "\\u0141\\xf3d" in told if encoding == "ascii" else "\\u0141\u00f3d" in told
    assert "\x1b" not in told
    assert "\\x1b[31m" in told


@posix
@pytest.mark.parametrize(
    ("where", "said"),
    [
        (">&-", b""),
        ("| true", b""),
        ("> /dev/full", b"the files are written, but not told of (No space left on device)\n"),
    ],
)
def test_a_summary_that_nobody_can_read_fails_nothing(tiny, tmp_path, where, said):
    if "/dev/" in where and not os.path.exists("/dev/full"):
        pytest.skip("no device that is always full")
    done = _shell(f"{{ {BUILD}; echo $? > status; }} {where}", tmp_path)
    assert (tmp_path / "status").read_text() == "0\n"
    assert len(list((tmp_path / "out").iterdir())) == 5
    assert done.stderr.endswith(said)
    assert done.stderr.count(b"\n") == (1 if said else 0), done.stderr


@posix
def test_a_reader_who_has_seen_enough_of_the_schema_is_no_fault(tmp_path):
    done = _shell("{ medalcore schema; echo $? > status; } | head -1", tmp_path)
    assert (done.stdout, done.stderr) == (b"{\n", b"")
    assert (tmp_path / "status").read_text() == "0\n"


@posix
def test_what_is_asked_for_and_cannot_be_printed_is_a_fault(tmp_path):
    if not os.path.exists("/dev/full"):
        pytest.skip("no device that is always full")
    done = _shell("medalcore schema > /dev/full", tmp_path)
    assert done.returncode == 2
    assert done.stderr == b"medalcore: the schema could not be printed (No space left on device)\n"


@posix
def test_sigterm_stops_as_ctrl_c_does(tiny, tmp_path):
    """Half the set is renamed when the signal comes."""
    script = (
        "import os, signal; real = os.replace; count = []\n"
        "def replace(a, b):\n"
        "    real(a, b); count.append(b)\n"
        "    if len(count) == 2: os.kill(os.getpid(), signal.SIGTERM)\n"
        "os.replace = os.rename = replace\n" + QUICK
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *BUILD.split()[1:]],
        cwd=tmp_path, env=_environment(), capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 128 + signal.SIGTERM
    assert done.stderr == "medalcore: stopped; nothing was written\n"
    assert not (tmp_path / "out").exists()


def test_stopping_after_the_files_are_written_says_so(tiny, tmp_path, monkeypatch, capsys):
    def stopped(text):
        raise KeyboardInterrupt

    monkeypatch.setattr("medalcore.cli.say", stopped)
    monkeypatch.setattr("medalcore.deliver.picture", lambda *a, **k: _small())
    command = ["build", str(tiny), "--out", str(tmp_path / "out"), "--quality", "draft"]
    assert main(command) == 130
    assert capsys.readouterr().err == "medalcore: stopped; all files are written\n"
    assert len(list((tmp_path / "out").iterdir())) == 5


def _small():
    import numpy as np

    return np.zeros((4, 4, 4), dtype=np.uint8)


def test_ctrl_c_while_libraries_load_is_one_line(tiny, tmp_path):
    (tmp_path / "msgspec.py").write_text("raise KeyboardInterrupt\n")
    done = subprocess.run(
        [sys.executable, "-m", "medalcore", "build", "tiny.toml", "--out", "out"],
        cwd=tmp_path, capture_output=True, text=True,
        env={**_environment(), "PYTHONPATH": os.pathsep.join([str(tmp_path), str(ROOT)])},
    )  # fmt: skip
    assert done.stderr == "python -m medalcore: stopped; nothing was written\n"
    assert done.returncode == 130


def test_help_loads_no_library():
    """So it is there at once."""
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "medalcore", "--help"],
        capture_output=True, text=True, env=_environment(),
    )  # fmt: skip
    assert "build the piece of a spec" in done.stdout
    loaded = {line.rpartition("|")[2].strip() for line in done.stderr.splitlines()}
    assert "medalcore.cli" in loaded
    assert not {"numpy", "msgspec", "manifold3d", "uharfbuzz", "tqdm", "PIL"} & loaded


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], ["the following arguments are required: COMMAND", "--help"]),
        (["build"], ["required: spec, --out", "medalcore build --help"]),
        (["build", "a", "--out", "b", "--quality", "middling"], ["'middling'", "draft"]),
        (["bild"], ["bild", "build"]),
        (["build", "tiny.toml", "--out", ""], ["--out names no folder", "."]),
        (["build", "tiny.toml", "--out", "x" * 300], ["cannot be written"]),
    ],
)
def test_a_wrong_command_is_one_line(tiny, tmp_path, monkeypatch, capsys, arguments, words):
    monkeypatch.chdir(tmp_path)
    # refused before the work
    monkeypatch.setattr(sys.modules["medalcore.piece.build"], "build", None)
    assert main(arguments) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert len(told.err) < 700
    assert all(word in told.err for word in words), told.err
    assert sorted(p.name for p in tmp_path.iterdir()) == ["tiny.toml"]


def test_what_libraries_print_is_not_shown(tiny, tmp_path):
    """Warnings of Python, and what a library in C prints to descriptor 2."""
    code = (
        "import importlib, os, warnings\n"
        "def noisy(*a, **k):\n"
        "    warnings.warn('overflow'); os.write(2, b'damaged chunk\\n')\n"
        "    raise ValueError('told\\tby \\x1b[31mus')\n"
        "importlib.import_module('medalcore.piece.build').build = noisy\n" + QUICK
    )
    command = [sys.executable, "-c", code, *BUILD.split()[1:]]
    done = subprocess.run(command, cwd=tmp_path, env=_environment(), capture_output=True, text=True)
    assert done.returncode == 2
    assert done.stderr.startswith("medalcore: unexpected ValueError: told by \\x1b[31mus; please")
    assert done.stderr.count("\n") == 1
    done = subprocess.run(
        command, cwd=tmp_path, env=_environment(MEDALWRIGHT_TRACEBACK="1"),
        capture_output=True, text=True,
    )  # fmt: skip
    assert all(word in done.stderr for word in ("overflow", "damaged chunk", "Traceback"))


def test_messages_are_short_and_plain():
    assert one_line("a\nb\x1b[2J \u202ec\x00") == "a b\\x1b[2J \\u202ec\\x00"
    plain = "K\u00f6nig \u0645\u062f\u0627\u0644 \u2019"
    assert one_line(plain) == plain
    assert len(one_line("x" * 10_000)) < 620
    assert shortened("ab" * 200, 10) == "ababa [...] babab"


def test_long_values_are_shortened_where_they_are_named(tmp_path, capsys):
    path = tmp_path / "long.toml"
    path.write_text(f'[medal]\nname = "{"x" * 10_000}"\n')
    assert main(["build", str(path), "--out", str(tmp_path / "out")]) == 2
    told = capsys.readouterr().err
    assert len(told) < 400
    assert "medal.name" in told

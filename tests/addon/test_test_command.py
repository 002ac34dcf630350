"""What the test command runs: every test, with the oldest and with the newest libraries."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from script import script

command = script("test")
WAYS = ("plain", "slow", "once", "slow and once")


@pytest.fixture
def pythons(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Give the Pythons that this machine has, each with an environment that is never made."""
    found = ["3.11", "3.12", "3.13"]
    monkeypatch.setattr(command, "_this", lambda: "3.12")
    monkeypatch.setattr(command, "find_python", lambda version: version in found or None)
    monkeypatch.setattr(command, "newest_python", lambda: found[-1])
    monkeypatch.setattr(command, "ensure", lambda *a, **k: Path("/here/bin/python"))
    monkeypatch.setattr(
        command,
        "_environment",
        lambda version, extras, name="", packages=None: (
            Path(f"/{version}/bin/python")
            if version in found
            else command.Outcome("", None, "not found")
        ),
    )
    return found


@pytest.fixture
def ran(monkeypatch: pytest.MonkeyPatch, pythons: list[str]) -> list[list[str]]:
    """Return the list in which commands are gathered, in place of running them."""
    commands: list[list[str]] = []

    def run(name: str, line: list[Any]) -> Any:
        commands.append([str(part) for part in line])
        return command.Outcome(name, True)

    monkeypatch.setattr(command, "_run", run)
    monkeypatch.setattr(command, "_at_once", lambda jobs: [run(*job) for job in jobs])
    return commands


def stages(chosen: dict[str, Any]) -> list[Any]:
    return [outcome for stage in chosen.values() for outcome in stage()]


def tried(ran: list[list[str]]) -> dict[str, set[str]]:
    """Return by Python which tests of the core ran: plain ones, and those of each marker."""
    found: dict[str, set[str]] = {}
    for line in ran:
        if "pytest" in line and "tests/core" in line:
            which = line[line.index("pytest") :]
            rule = which[which.index("-m") + 1] if "-m" in which else "True"
            fits = {
                way for way in WAYS if eval(rule, {"slow": "slow" in way, "once": "once" in way})
            }
            found.setdefault(line[0], set()).update(fits)
    return found


def test_every_test_runs_with_the_newest_libraries_and_all_but_once_with_the_oldest(
    ran: list[list[str]],
) -> None:
    stages(command.whole_stages(command.STAGES))
    assert tried(ran) == {
        "/3.13/bin/python": set(WAYS),
        "/3.11/bin/python": {"plain", "slow"},
        "/here/bin/python": {"plain"},
    }
    folders = [line for line in ran if "tests/addon" in line or "tests/window" in line]
    assert len(folders) == 3
    assert sum("mypy" in line for line in ran) == 2


@pytest.mark.parametrize("missing", ["3.11", "3.13"])
def test_where_a_blender_python_is_missing_this_one_runs_all(
    ran: list[list[str]], pythons: list[str], missing: str
) -> None:
    pythons.remove(missing)
    outcomes = stages(command.whole_stages(command.STAGES))
    assert tried(ran)["/here/bin/python"] == set(WAYS)
    skipped = [o for o in outcomes if o.passed is None]
    assert [missing in o.name for o in skipped if o.name.startswith("core")] == [True]


@pytest.mark.parametrize("chosen", [["core"], ["lint", "core"]])
def test_the_core_alone_is_the_whole_core(ran: list[list[str]], chosen: list[str]) -> None:
    stages(command.whole_stages(chosen))
    assert tried(ran) == {"/here/bin/python": set(WAYS)}


def test_a_python_newer_than_blenders_runs_all(
    ran: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(command, "_this", lambda: "3.14")
    stages(command.whole_stages(command.STAGES))
    assert tried(ran)["/here/bin/python"] == set(WAYS)


def test_quick_runs_on_this_python_alone(ran: list[list[str]]) -> None:
    stages(command.quick_stages())
    assert tried(ran) == {"/here/bin/python": {"plain"}}
    assert {line[0] for line in ran} <= {"/here/bin/python", "/here/bin/lint-imports"}


def test_quick_says_what_it_leaves_out(
    ran: list[list[str]], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.argv", ["test.py", "--quick"])
    assert command.main() == 0
    said = capsys.readouterr().out
    assert said.index("left out by --quick:") > said.index("passed")
    for what in ("types", "slow or once", "other libraries", "add-on", "window"):
        assert what in said

"""The contributor's guide is true: what it names is there, what it says to type runs."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGES = [ROOT / "DEVELOPERS.md", ROOT / "README.md"]
FOLDERS = (
    "", "medalcore", "medalcore/elements", "medalcore/elements/relief", "addon", "scripts",
    "tests/helpers",
)  # fmt: skip
MADE = ("<name>", "medal/", "/")  # names of what is made, and of an example


def named() -> list[tuple[str, str]]:
    """Return page and each file, folder or module that it names in code."""
    found = []
    for page in PAGES:
        text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
        for code in re.findall(r"`([^`\n]+)`", text):
            token = code.partition(":")[0]
            is_path = re.fullmatch(r"[\w./*-]+", token) and ("/" in token or token.endswith(".py"))
            if is_path and not token.startswith(MADE):
                found.append((page.name, token))
    return found


@pytest.mark.parametrize(("page", "token"), named())
def test_what_the_guide_names_is_there(page: str, token: str) -> None:
    for place in (ROOT / folder for folder in FOLDERS):
        if list(place.glob(token.rstrip("/"))) or list(place.glob(f"{token}.py")):
            return
    pytest.fail(f"{page} names {token}, which is not there")


def test_the_guide_names_enough_to_be_worth_a_test() -> None:
    assert len(named()) > 40


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    for link in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
        assert link.startswith("http") or (page.parent / link).exists(), link


def scripts() -> list[tuple[str, ...]]:
    """Return each script of ours that a page says to run, with the options it is given."""
    found = set()
    for page in PAGES:
        for line in re.findall(r"python3 (scripts/\S+\.py[^`\n|(]*)", page.read_text("utf-8")):
            words = line.split()
            found.add((words[0], *(w for w in words[1:] if w.startswith("--"))))
    return sorted(found)


@pytest.mark.parametrize("command", scripts(), ids=" ".join)
def test_commands_know_their_options(command: tuple[str, ...]) -> None:
    path = ROOT / command[0]
    assert path.exists()
    if command[1:]:
        told = subprocess.run(
            [sys.executable, str(path), "--help"], capture_output=True, text=True, check=True
        ).stdout
        for option in command[1:]:
            assert option in told

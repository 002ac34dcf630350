"""Files among signals, locks, kills and other writers: whole, or as they were."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from medalcore import MedalSpec
from medalcore.deliver import check_free
from medalcore.deliver.claim import claimed
from medalcore.deliver.files import write_files
from medalcore.errors import DeliveryError
from medalcore.spec import Identity, write_spec
from medalcore.system import file_access

posix = pytest.mark.skipif(os.name != "posix", reason="needs fork and signals as POSIX has them")

RENAMES = "rename", "replace"


def _after(monkeypatch: pytest.MonkeyPatch, number: int, act) -> None:
    """Do something right after a rename, counted from 1."""
    count = 0
    for name in RENAMES:
        real = getattr(os, name)

        def renaming(source, target, real=real) -> None:
            nonlocal count
            real(source, target)
            count += 1
            if count == number:
                act()

        monkeypatch.setattr(os, name, renaming)


def _content(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def _files(folder: Path, text: bytes = b"new") -> dict[Path, bytes]:
    return {folder / name: text for name in "abc"}


@pytest.fixture(autouse=True)
def ctrl_c_heard() -> Iterator[None]:
    """Let Ctrl+C raise, as at a terminal: what is started in the background ignores it."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.parametrize("number", [1, 2, 3])
@pytest.mark.parametrize("names", ["", "ac", "abc"])
def test_ctrl_c_at_any_rename_leaves_all_as_it_was(tmp_path, monkeypatch, number, names):
    """A signal comes between a rename and the next line of the program."""
    for name in names:
        (tmp_path / name).write_bytes(b"old")
    before = _content(tmp_path)
    _after(monkeypatch, number, lambda: signal.raise_signal(signal.SIGINT))
    with pytest.raises(KeyboardInterrupt):
        write_files(_files(tmp_path), overwrite=True)
    assert _content(tmp_path) == before
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_ctrl_c_twice_is_taken_back_as_well(tmp_path, monkeypatch):
    (tmp_path / "a").write_bytes(b"old")
    (tmp_path / "b").write_bytes(b"old")
    _after(monkeypatch, 1, lambda: [signal.raise_signal(signal.SIGINT) for _ in range(2)])
    with pytest.raises(KeyboardInterrupt):
        write_files(_files(tmp_path), overwrite=True)
    assert _content(tmp_path) == {"a": b"old", "b": b"old"}


def test_a_name_is_never_without_its_file(tmp_path, monkeypatch):
    """Whatever moment a killed run ends at, the person's file is there, old or new."""
    (tmp_path / "a").write_bytes(b"old")
    seen = []
    for name in RENAMES:
        real = getattr(os, name)

        def renaming(source, target, real=real) -> None:
            seen.append((tmp_path / "a").exists())
            real(source, target)
            seen.append((tmp_path / "a").exists())

        monkeypatch.setattr(os, name, renaming)
    write_files({tmp_path / "a": b"new"}, overwrite=True)
    assert seen
    assert all(seen)


def test_without_links_the_old_file_comes_back_too(tmp_path, monkeypatch):
    """FAT and some network disks have no hard links."""

    def refused(*args, **kwargs):
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refused)
    (tmp_path / "a").write_bytes(b"old")
    (tmp_path / "b").write_bytes(b"old")
    before = _content(tmp_path)
    monkeypatch.setattr(file_access, "_PATIENCE", 0.0)
    real = os.replace

    def failing(source, target) -> None:
        if Path(source).suffix == ".new" and Path(target).name == "b":
            raise PermissionError(13, "Permission denied")
        real(source, target)

    monkeypatch.setattr(os, "replace", failing)
    with pytest.raises(DeliveryError, match="b: cannot be written"):
        write_files(_files(tmp_path), overwrite=True)
    assert _content(tmp_path) == before
    monkeypatch.setattr(os, "replace", real)
    write_files(_files(tmp_path), overwrite=True)
    assert _content(tmp_path) == {"a": b"new", "b": b"new", "c": b"new"}


def _locked(monkeypatch: pytest.MonkeyPatch, name: str, times: int) -> None:
    """Let the first renames onto a file fail as if another program had it open."""
    for how in RENAMES:
        real = getattr(os, how)

        def renaming(source, target, real=real) -> None:
            nonlocal times
            if Path(target).name == name and times:
                times -= 1
                raise PermissionError(13, "it is being used by another process")
            real(source, target)

        monkeypatch.setattr(os, how, renaming)


def test_a_lock_of_a_moment_is_waited_for(tmp_path, monkeypatch):
    _locked(monkeypatch, "b", 3)
    write_files(_files(tmp_path))
    assert sorted(_content(tmp_path)) == ["a", "b", "c"]
    _locked(monkeypatch, "piece.toml", 3)
    write_spec(MedalSpec(), tmp_path / "piece.toml")
    assert (tmp_path / "piece.toml").exists()


def test_the_file_that_stays_locked_is_the_one_named(tmp_path, monkeypatch):
    monkeypatch.setattr(file_access, "_PATIENCE", 0.1)
    _locked(monkeypatch, "b", 10**6)
    with pytest.raises(DeliveryError, match=r"[\\/]b: cannot be written \(it is being used"):
        write_files(_files(tmp_path))
    assert _content(tmp_path) == {}


def test_nothing_is_left_of_a_spec_that_cannot_be_written(tmp_path, monkeypatch):
    monkeypatch.setattr(file_access, "_PATIENCE", 0.1)
    _locked(monkeypatch, "piece.toml", 10**6)
    with pytest.raises(PermissionError):
        write_spec(MedalSpec(), tmp_path / "piece.toml")
    assert _content(tmp_path) == {}


@posix
@pytest.mark.parametrize("number", [1, 2, 3])
@pytest.mark.parametrize("links", [True, False])
def test_what_a_killed_run_leaves_is_gone_after_the_next(tmp_path, monkeypatch, number, links):
    for name in "ab":
        (tmp_path / name).write_bytes(b"old")
    child = os.fork()
    if not child:
        if not links:
            monkeypatch.delattr(os, "link")
            os.link = lambda *args, **kwargs: os.stat("/nowhere/at/all")
        _after(monkeypatch, number, lambda: os.kill(os.getpid(), signal.SIGKILL))
        write_files(_files(tmp_path), overwrite=True)
        os._exit(0)
    assert os.waitpid(child, 0)[1] == signal.SIGKILL
    assert any(name.startswith(".") for name in _content(tmp_path))
    with pytest.raises(DeliveryError, match="there already"):
        write_files(_files(tmp_path))
    write_files(_files(tmp_path, b"newer"), overwrite=True)
    assert _content(tmp_path) == {name: b"newer" for name in "abc"}


@posix
def test_a_file_that_a_killed_run_had_moved_aside_gets_its_name_back(tmp_path):
    slug = Identity(name="Tiny").slug
    aside = tmp_path / f".{slug}.stl.0123abcd.old"
    aside.write_bytes(b"mine")
    (tmp_path / f".{slug}.3mf.0123abcd.new").write_bytes(b"half")
    other = tmp_path / ".else.3mf.0123abcd.new"
    other.write_bytes(b"another's")
    with pytest.raises(DeliveryError, match=r"tiny\.stl is there already"):
        check_free(slug, tmp_path)
    assert _content(tmp_path) == {f"{slug}.stl": b"mine", other.name: b"another's"}


@posix
def test_two_writers_come_one_after_the_other(tmp_path):
    ready, tell = os.pipe()
    child = os.fork()
    if not child:
        with claimed(tmp_path, lambda: None) as alone:
            (tmp_path / ".a.0123abcd.new").write_bytes(b"being written")
            os.write(tell, b"1" if alone else b"0")
            time.sleep(0.4)
            found = (tmp_path / ".a.0123abcd.new").exists()
        os._exit(0 if found else 1)
    assert os.read(ready, 1) == b"1"
    start = time.monotonic()
    write_files(_files(tmp_path))
    assert time.monotonic() - start > 0.2
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    assert sorted(_content(tmp_path)) == ["a", "b", "c"]


def test_what_cannot_be_written_is_told_before_the_work(tmp_path):
    (tmp_path / "file").write_bytes(b"")
    for folder in (tmp_path / ("x" * 300), tmp_path / "file" / "out"):
        with pytest.raises(DeliveryError, match="cannot be written"):
            check_free("tiny", folder)
    check_free("tiny", tmp_path / "new" / "deep")
    assert sorted(_content(tmp_path)) == ["file"]


@pytest.mark.skipif(
    os.name != "posix" or os.geteuid() == 0, reason="a folder refuses nothing to the superuser"
)
def test_a_folder_without_write_permission_is_told_before_the_work(tmp_path):
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o555)
    for folder in (closed, closed / "out"):
        with pytest.raises(DeliveryError, match="Permission denied"):
            check_free("tiny", folder)


@pytest.mark.parametrize(
    ("name", "slug"),
    [
        ("CON", "con-medal"),
        ("Nul", "nul-medal"),
        ("com¹", "com1-medal"),  # Microsoft names COM and LPT with superscripts too
        ("LPT9", "lpt9-medal"),
        ("Console", "console"),
        ("Fennick Light", "fennick-light"),
    ],
)
def test_file_names_are_none_that_windows_keeps(name, slug):
    assert Identity(name=name).slug == slug


def test_file_names_are_never_long():
    """A ligature becomes three letters by NFKD."""
    for name in ("ﬃ" * 200, "㎯" * 200, "a b" * 66, "x" * 79 + " y"):
        slug = Identity(name=name).slug
        assert 0 < len(slug) <= 80
        assert not slug.endswith("-")

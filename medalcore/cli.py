"""The command line.

Exit status 0, or 2 with one line that says what would be right; 128 and the signal's number if it
was stopped.
"""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from . import __version__
from .errors import DeliveryError, MedalError, printable, shortened
from .system.console import TRACEBACK, complain, hold_streams, libraries_silent, say
from .system.interrupts import stopped_alike

if TYPE_CHECKING:  # what is large is loaded by the command that needs it
    from .context.element import Model
    from .spec import MedalSpec, Unused

CAUTION = (
    "Use only models, pictures and fonts you have the right to. A piece must not pass for money. "
    "Heat, dust and resin are the maker's trade: follow local rules and the makers' data sheets."
)


class _UsageError(MedalError):
    """The command line itself is wrong."""


class _Parser(argparse.ArgumentParser):
    """A parser whose complaint is one line, as all others are."""

    def error(self, message: str) -> NoReturn:
        raise _UsageError(f"{message}; {self.prog} --help tells what there is")


class _WrittenError(Exception):
    """Stopped when all files were there already."""


def main(
    argv: Sequence[str] | None = None,
    prog: str = "medalcore",
    *,
    models: Callable[[MedalSpec], Mapping[str, Model]] | None = None,
) -> int:
    """Run a command and return its exit status.

    Parameters
    ----------
    argv : sequence of str, optional
    prog : str
        What the command is called in what it says.
    models : callable, optional
        Gives the meshes in memory that a spec names, as a host program has them.
    """
    hold_streams()
    with stopped_alike() as last:
        try:
            args = _parser(prog).parse_args(argv)
            args.models = models
            with libraries_silent():
                status: int = args.run(args)
            return status
        except MedalError as error:
            return _fail(prog, str(error))
        except KeyboardInterrupt:
            _fail(prog, "stopped; nothing was written")
            return 128 + last()
        except _WrittenError:
            _fail(prog, "stopped; all files are written")
            return 128 + last()
        except Exception as error:  # a bug of ours: still one line, the rest on request
            if os.environ.get(TRACEBACK):
                raise
            return _fail(
                prog,
                f"unexpected {type(error).__name__}: {error}; please report it with the output of "
                f"{TRACEBACK}=1",
            )


def _fail(prog: str, message: str) -> int:
    complain(prog, message)
    return 2


def _parser(prog: str) -> argparse.ArgumentParser:
    parser = _Parser(
        prog=prog, description="From a written brief to a two-sided medal as one closed solid."
    )
    parser.add_argument("--version", action="version", version=f"Medalwright {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    new = commands.add_parser("new", help="write a commented spec to start from")
    new.add_argument("spec", nargs="?", default="medal.toml", help="file to write (medal.toml)")
    new.add_argument("--overwrite", action="store_true", help="replace a file that is there")
    new.set_defaults(run=_new, prog=prog)
    build = commands.add_parser("build", help="build the piece of a spec and write its files")
    build.add_argument("spec", help="TOML file that says what is asked for")
    build.add_argument("--out", required=True, metavar="DIR", help="folder for the files")
    build.add_argument(
        "--quality", choices=("draft", "fine"), default="fine", help="how finely to work (fine)"
    )
    build.add_argument("--overwrite", action="store_true", help="replace files that are there")
    build.add_argument(
        "--also",
        metavar="KINDS",
        type=lambda text: tuple(text.replace(",", " ").split()),
        default=(),
        help="further files, separated by commas: obj, glb, depth, standing",
    )
    build.set_defaults(run=_build, prog=prog)
    schema = commands.add_parser("schema", help="print the JSON Schema of the spec, for editors")
    schema.set_defaults(run=_schema)
    return parser


def _new(args: argparse.Namespace) -> int:
    from .deliver.files import write_files
    from .spec.template import template

    path = Path(args.spec)
    text = template(path.name, args.prog)
    write_files({path: text.encode()}, overwrite=args.overwrite)
    name = printable(str(path))
    say(f"{name}: edit it, then run  {args.prog} build {name} --out DIR\n")
    return 0


def _schema(args: argparse.Namespace) -> int:
    from .spec import MedalSpec, json_schema

    failed = say(json.dumps(json_schema(MedalSpec), indent=2) + "\n")
    if failed:
        raise DeliveryError(f"the schema could not be printed ({failed.strerror})")
    return 0


def _build(args: argparse.Namespace) -> int:
    from .deliver import check_free, deliver, file_names
    from .piece.build import build
    from .spec import read_spec
    from .system.progress import bar

    if not args.out.strip():
        raise _UsageError("--out names no folder; give one, or . for the current folder")
    told: list[Unused] = []
    spec = read_spec(args.spec, told=told.append)
    folder = Path(args.out)
    # before the work, not after
    check_free(spec.medal.slug, folder, overwrite=args.overwrite, also=args.also)
    first = folder / file_names(spec.medal.slug)[0]
    before = _identity(first)
    try:
        with bar() as tell:
            medal = build(
                spec,
                args.quality,
                lambda f, label: tell(0.8 * f, label),
                models=args.models(spec) if args.models else None,
                told=told,
            )
            paths = deliver(
                medal,
                folder,
                overwrite=args.overwrite,
                also=args.also,
                progress=lambda f, label: tell(0.8 + 0.2 * f, label),
            )
        failed = say(_summary(medal.report, paths))
        if failed:
            complain(args.prog, f"the files are written, but not told of ({failed.strerror})")
    except KeyboardInterrupt:
        if _identity(first) != before:  # all of a set or none
            raise _WrittenError from None
        raise
    return 0


def _identity(path: Path) -> tuple[int, int] | None:
    """Return what tells a file from the one before it under the same name."""
    try:
        told = os.lstat(path)
    except OSError:
        return None
    return told.st_ino, told.st_mtime_ns


def _summary(report: object, paths: Sequence[Path]) -> str:
    """Return what was made, as measured, and what to look at."""
    assert isinstance(report, dict)
    lines: list[str] = []
    bodies = "one body" if report["bodies"] == 1 else f"{report['bodies']} bodies"
    lines += [
        f"{report['name']}: {report['size']}",
        f"{report['volume_mm3']:.1f} mm3, {report['mass_g']:.2f} g of {report['material']}",
        f"closed: {'yes' if report['closed'] else 'NO'}, {bodies}, "
        f"{report['triangles']} triangles, {report['seconds']['all']:.1f} s "
        f"at {report['quality']}",
    ]
    for part in report.get("parts", ()):
        lines.append(f"{part['part']}: {part['mass_g']:.2f} g of {part['metal']}")
    if "solved" in report:
        solved = report["solved"]
        mass, cost = solved["asked_mass_g"], solved["asked_cost"]
        aim = f"a metal cost of {cost:g}" if cost else f"{mass:g} g"
        lines.append(f"thickness solved for {aim}: {solved['thickness_mm']:.4f} mm")
    if report["metal_cost"] is not None:
        lines.append(f"metal cost: {report['metal_cost']:.2f}")
    for finding in report["findings"]:
        lines.append(
            shortened(f"{finding['severity']}: {finding['where']}: {finding['message']}", 600)
        )
    lines += [f"  {path}" for path in paths]
    lines.append(CAUTION)
    return "".join(f"{printable(line)}\n" for line in lines)

"""Run the command line, as ``python -m medalcore`` or by the command ``medalcore``."""

import sys


def main(prog: str = "medalcore") -> int:
    """Run the command line; also its loading can be stopped."""
    try:
        from .cli import main as run

        return run(prog=prog)
    except KeyboardInterrupt:
        sys.stderr.write(f"{prog}: stopped; nothing was written\n")
        return 130


if __name__ == "__main__":
    sys.exit(main("python -m medalcore"))

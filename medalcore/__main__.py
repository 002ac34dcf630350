"""Run the command line as ``python -m medalcore``."""

import sys

from .cli import main

if __name__ == "__main__":
    sys.exit(main(prog="python -m medalcore"))

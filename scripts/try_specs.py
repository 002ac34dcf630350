"""Try what nobody thought of: random valid specs, wrong ones, hostile sources, faults of files.

    python scripts/try_specs.py --count 300            # seeds 0 to 299 of all kinds
    python scripts/try_specs.py --kind valid --seed 7  # one again
    python scripts/try_specs.py --seconds 3600 --seed 5000

Every piece that is built is measured by another library than the project's. One line for each
failure, with its seed; its spec is written to the folder of --keep. Needs the test libraries.
"""

from __future__ import annotations

import argparse
import faulthandler
import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "tests" / "helpers"))

from spec_trials import run


def main() -> int:
    """Try what is asked for and return 1 if anything is a fault."""
    about = (__doc__ or "").splitlines()[0]
    parser = argparse.ArgumentParser(description=about)
    kinds = ["valid", "wrong", "hostile", "faults"]
    parser.add_argument("--kind", choices=kinds, action="append", help="only these (all)")
    parser.add_argument("--seed", type=int, default=0, help="first seed (0)")
    parser.add_argument("--count", type=int, default=1, help="how many seeds (1)")
    parser.add_argument("--seconds", type=float, default=0.0, help="stop after that long")
    parser.add_argument("--keep", type=Path, default=Path("failed-trials"), help="for failures")
    parser.add_argument("--heavy", action="store_true", help="with hostile sources that take long")
    parser.add_argument("--show", action="store_true", help="tell every trial")
    args = parser.parse_args()
    faulthandler.enable()
    count = args.count if not args.seconds or args.count > 1 else 10**9
    counts = run(
        args.kind or kinds, args.seed, count, args.seconds, args.keep,
        heavy=args.heavy, show=args.show,
    )  # fmt: skip
    print(", ".join(f"{name}: {n}" for name, n in sorted(counts.items())))
    return 1 if any(name.endswith("fault") for name in counts) else 0


if __name__ == "__main__":
    raise SystemExit(main())

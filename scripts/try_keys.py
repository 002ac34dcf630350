"""Does every key do what it says? Set each, in every kind of its table, and compare the pieces.

Where a key is said to count, another value must give another piece; where it is said not to,
the same one. Keys outside their conditions must be refused or told. All at draft, on pieces of
20 mm:

    python scripts/try_keys.py                     everything: some minutes
    python scripts/try_keys.py --table Border      one table
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "tests" / "helpers"))

from key_trials import is_told, outcome, table_at, trials
from key_values import PLACES, make_files


def main(argv: Sequence[str] | None = None) -> int:
    """Try what is asked for, tell what is wrong, and return 1 if anything is."""
    parser = argparse.ArgumentParser(description="Does every key do what it says?")
    parser.add_argument("--table", default="", help="name of one table's class")
    parser.add_argument("--key", default="", help="name of one key")
    parser.add_argument("--refused", action="store_true", help="tell the specs that are refused")
    args = parser.parse_args(argv)
    wrong, counts = 0, {"same": 0, "other": 0, "refused": 0}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        models = make_files(folder)
        for path in PLACES:
            if args.table not in ("", table_at(path).__name__):
                continue
            for counting in (True, False):
                for trial in trials(path, counting):
                    if args.key not in ("", trial.key.name):
                        continue
                    found = outcome(trial, folder, models)
                    counts[found.partition(":")[0]] += 1
                    bad = found == ("same" if counting else "other")
                    if not counting and not is_told(trial, folder):
                        print(f"not told: {trial}", flush=True)
                        wrong += 1
                    if bad:
                        print(f"{'no effect' if counting else 'an effect'}: {trial}", flush=True)
                        wrong += 1
                    elif args.refused and found.startswith("refused"):
                        print(f"{found}: {trial}", flush=True)
    print(f"{sum(counts.values())} trials, {counts}, {wrong} wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())

"""`python -m tests.campaign`: a run of the campaign and its table; exit code 1 where anything failed."""

from __future__ import annotations

import argparse
import os
import sys
import time

from tests.campaign import runner


def main() -> int:
    """Read the command, run, and print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaign", description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0, help="how long in all (usual: 10)")
    parser.add_argument("--seed", type=int, help="where seeds begin (usual: another each time)")
    parser.add_argument("--only", action="append", metavar="NAME", help="this kind alone; may be given several times")
    parser.add_argument("--count", type=int, default=0, metavar="N", help="so many cases of each kind, without a clock")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 2, metavar="N", help="cases side by side")
    parser.add_argument("--list", action="store_true", help="only name the kinds")
    args = parser.parse_args()
    kinds = runner.all_kinds()
    names = [kind.name for kind in kinds]
    if args.list:
        print("\n".join(names))
        return 0
    if unknown := [name for name in args.only or () if name not in names]:
        parser.error(f"no kind is called {', '.join(unknown)}; there are {', '.join(names)}")
    seed = args.seed if args.seed is not None else int(time.time()) % 1_000_000 * 1000
    print(f"seed {seed}", flush=True)
    runner.warm()
    chosen = [kind for kind in kinds if not args.only or kind.name in args.only]
    tallies = runner.run(chosen, args.minutes * 60, seed, jobs=args.jobs, count=args.count)
    for line in runner.table(tallies):
        print(line)
    return int(any(t.failures for t in tallies))


if __name__ == "__main__":
    sys.exit(main())

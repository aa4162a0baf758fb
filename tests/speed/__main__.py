"""Runs every benchmark of this folder, one after the other: ``python -m tests.speed [part of a name …]``.

Each prints ratios to a floor that it measures in the same run; none fails for being slow.
"""

import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent


def main(names):
    failed = []
    for bench in sorted(HERE.glob("bench_*.py")):
        if names and not any(name in bench.stem for name in names):
            continue
        print(f"\n=== {bench.stem.removeprefix('bench_').replace('_', ' ')}", flush=True)
        done = subprocess.run([sys.executable, str(bench)], cwd=HERE.parent.parent, check=False)
        if done.returncode:
            failed.append(bench.stem)
    if failed:
        raise SystemExit(f"Broken: {', '.join(failed)}")


if __name__ == "__main__":
    main(sys.argv[1:])

"""All benchmarks, one after the other: ``python -m tests.benchmarks``. Nothing is asserted on a clock.

Run on a quiet machine. The comparison of life fits with general libraries needs the extra ``bench`` and is left out
without it.
"""

import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

OF_LIBRARIES = {"life_fits": ("lifelines", "surpyval", "reliability")}
ALONE = {"load", "footprint", "soak"}  # what others use; what takes its time


def main() -> None:
    """Run each in a process of its own."""
    folder = Path(__file__).parent
    for file in sorted(folder.glob("[a-z]*.py")):
        name = file.stem
        if name in ALONE:
            continue
        lacking = [each for each in OF_LIBRARIES.get(name, ()) if find_spec(each) is None]
        print(f"\n## {name}\n", flush=True)
        if lacking:
            print(f"left out: {', '.join(lacking)} not installed")
            continue
        subprocess.run([sys.executable, "-m", f"tests.benchmarks.{name}"], cwd=folder.parents[1], check=True)


if __name__ == "__main__":
    main()

"""How often do the verdicts claim something where nothing is the matter, and how often where something is?

    python -m tests.verdicts --plants 400
    python -m tests.verdicts --plants 100 --questions "trend" "crew_tied, 10 %" --positions 50
    python -m tests.verdicts --power --plants 200
    python -m tests.verdicts --limits --plants 200

One core. Seeds are fixed: the same command prints the same numbers.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from tests.verdicts import change, forecast, limits, regression, replacement_age  # noqa: E402
from tests.verdicts.power import power_lines  # noqa: E402
from tests.verdicts.questions import QUESTIONS  # noqa: E402
from tests.verdicts.shares import cells, failures, recorded, report, settings  # noqa: E402

WITH_LIMITS = (forecast, limits, replacement_age, change, regression)


def limit_lines(plants: int, seed: int) -> Iterator[str]:
    """Yield what limits, ranges and forecasts held, beside what they are to hold."""
    for module in WITH_LIMITS:
        for row in module.claims(plants, seed):
            share = "  none" if row["share"] is None else f"{row['share']:6.3f}"
            wide = f"{row['least']:.3f} to {row['most']:.3f}"
            yield f"{share}  {wide}  {row['plants']:5d}  {row['question']}: {row['claim']}: {row['setting']}"


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.verdicts", description=__doc__.splitlines()[0])
    parser.add_argument("--plants", type=int, default=400, help="plants a setting")
    parser.add_argument("--questions", nargs="*", default=list(QUESTIONS), choices=list(QUESTIONS), metavar="QUESTION")
    parser.add_argument("--positions", nargs="*", type=int, default=[10, 50, 300, 1000])
    parser.add_argument("--shapes", nargs="*", type=float, default=[1, 2, 3])
    parser.add_argument("--scenarios", nargs="*", default=None)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--watches", nargs="*", type=float, default=[1, 3])
    parser.add_argument("--record", type=Path, help="append the counts to this file, setting by setting")
    parser.add_argument("--read", nargs="*", type=Path, help="simulate nothing; report what these files have")
    parser.add_argument("--power", action="store_true", help="print the power tables instead")
    parser.add_argument("--limits", action="store_true", help="print what limits, ranges and forecasts hold instead")
    given = parser.parse_args()
    if given.power or given.limits:
        for line in (power_lines if given.power else limit_lines)(given.plants, given.seed):
            print(line, flush=True)
        return 0
    narrowed = {} if given.scenarios is None else {"scenarios": given.scenarios}
    chosen = list(settings(given.shapes, given.positions, given.watches, **narrowed))
    found = recorded(given.read) if given.read else cells(given.questions, chosen, given.plants, given.seed,
                                                          given.record)  # fmt: skip
    print("\n".join(report(found)))
    wrong = failures(found)
    print("\n".join(["", "beyond chance:", *(f"  {one}" for one in wrong or ["nothing"])]))
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())

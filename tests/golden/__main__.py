"""python -m tests.golden: check the net, make the golden plans anew, or lock the tables."""

import argparse
import sys

from service.errors import TableError
from tests.golden import locks, net

parser = argparse.ArgumentParser(prog="python -m tests.golden", description=__doc__)
parser.add_argument("--write", action="store_true", help="make the golden plans anew, after a version was raised")
parser.add_argument("--same-version", action="store_true", help="with --write: add machines, change none")
parser.add_argument("--lock", action="store_true", help="lock the tables, after DATA_VERSION was raised")
given = parser.parse_args()
if given.lock:
    print(locks.renew())
if given.write:
    print(net.write(same_version=given.same_version))
if not (given.lock or given.write):
    try:
        found = list(net.faults())
    except TableError as error:
        found = [f"{error}: look for it in service/instructions/plan/data/*.toml"]
    print("\n".join(found) or "golden plans, steps, limits and tables are as they are kept")
    sys.exit(1 if found else 0)

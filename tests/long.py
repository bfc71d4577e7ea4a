"""The long forms of the tests, by name: ``python -m tests.long NAME [options]``; without a name, what there is.

The suite runs a short form of each. They take minutes to hours of one or two cores and print what they found.
"""

import runpy
import sys
from typing import Final

FORMS: Final = {
    "verdicts": ("tests.verdicts", ["--plants", "400"], "what the verdicts on lives claim where nothing is the matter"),
    "power": ("tests.verdicts", ["--power", "--plants", "200"], "what they see where something is the matter"),
    "limits": (
        "tests.verdicts",
        ["--limits", "--plants", "200"],
        "what limits and ranges hold, and what a forecast does",
    ),
    "survival": ("tests.benchmarks.survival_comparison", [], "regression and incidence against a general library"),
    "tests": ("tests.benchmarks.verdict_comparison", [], "the other tests and estimates against general libraries"),
    "mutations": ("tests.golden.mutations", [], "each value, flag, text and limit changed: the net must see it"),
    "sheets": ("tests.api.stays.long_sheets", [], "five messy sheets of 20,000 rows through their profiles"),
    "crash-sqlite": ("tests.outages.crash", ["--database", "sqlite", "--kills", "30"], "kill -9 under load"),
    "crash-postgresql": (
        "tests.outages.crash",
        ["--database", "postgresql", "--kills", "30", "--database-kills", "5"],
        "kill -9 of server and database under load",
    ),
    "audit": ("tests.outages.large_record", [], "the record of 10,000 orders verified: time, memory, one row changed"),
    "audit-million": (
        "tests.outages.large_record",
        ["--orders", "100", "--stays", "1000000"],
        "the same of a million rows: as much memory as for few",
    ),
    "import-role": ("tests.benchmarks.import_by_role", [], "20,000 stays as the role of production"),
    "benchmarks": ("tests.benchmarks", [], "everything side by side with an echo or a library"),
    "bad-copy": (
        "tests.benchmarks.bad_copy",
        [],
        "the sheets copied to 60 %, pale and noisy: numbers read by tesseract",
    ),
    "sizing": ("tests.benchmarks.sizing", [], "what a thousand sites need"),
}
"""By name: the module, the options it has unless others are given, and what it is."""


def main(arguments: list[str]) -> int:
    """Run one long form, or list them."""
    if not arguments or arguments[0] not in FORMS:
        print("\n".join(f"{name:18}{what}" for name, (_, _, what) in FORMS.items()))
        return 0 if not arguments else 2
    module, options, _ = FORMS[arguments[0]]
    sys.argv = [module, *(arguments[1:] or options)]
    runpy.run_module(module, run_name="__main__", alter_sys=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

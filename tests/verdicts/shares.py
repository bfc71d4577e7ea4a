"""Shares of false claims by question and setting, and whether they are what chance makes of the level."""

from __future__ import annotations

import itertools
import json
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from scipy.special import bdtrc

from tests.verdicts.plants import SCENARIOS, Setting, plant
from tests.verdicts.questions import QUESTIONS

ALLOWED = 0.07  # of one setting; the pooled share may be 0.06
POOLED = 0.06
SMALLEST_CHANCE = 0.001
STATED_FROM = 0.08
MOST_STATED = 40  # with few plants a share of 0.1 is two of them


@dataclass(frozen=True, slots=True)
class Cell:
    """False claims of one question in one setting."""

    question: str
    setting: Setting
    plants: int
    claims: int

    @property
    def share(self) -> float:
        return self.claims / self.plants

    @property
    def chance(self) -> float:
        """The exact binomial probability of at least so many at ``ALLOWED``."""
        return 1.0 if self.claims == 0 else float(bdtrc(self.claims - 1, self.plants, ALLOWED))


def settings(
    shapes: Sequence[float] = (1, 2, 3),
    positions: Sequence[int] = (10, 50, 300, 1000),
    watches: Sequence[float] = (1, 3),
    sigmas: Sequence[float] = (0.0, 0.5),
    scenarios: Sequence[str] = SCENARIOS,
) -> Iterator[Setting]:
    for shape, count, watch, sigma, scenario in itertools.product(shapes, positions, watches, sigmas, scenarios):
        yield Setting(shape, count, watch, sigma, scenario)


def cells(
    questions: Sequence[str], chosen: Sequence[Setting], plants: int, seed: int, record: Path | None = None
) -> list[Cell]:
    """Return the false claims of each question in each setting it holds in; ``record`` gets them line by line."""
    found, began = [], time.perf_counter()
    for number, setting in enumerate(chosen):
        asked = [name for name in questions if QUESTIONS[name].holds_in(setting)]
        claims = dict.fromkeys(asked, 0)
        for n in range(plants if asked else 0):
            simulated = plant(setting, seed + n)
            for name in asked:
                claims[name] += QUESTIONS[name].claim(simulated)
        made = [Cell(name, setting, plants, claims[name]) for name in asked]
        found += made
        if record is not None:
            with record.open("a", encoding="utf-8") as file:
                file.writelines(json.dumps(asdict(one)) + "\n" for one in made)
        passed = time.perf_counter() - began
        print(f"\r{number + 1} of {len(chosen)} settings, {passed:.0f} s", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return found


def recorded(files: Sequence[Path]) -> list[Cell]:
    """Return the cells of earlier runs; those of one question and setting are added up, so seeds must differ."""
    found: dict[tuple[str, Setting], Cell] = {}
    for line in (line for file in files for line in file.read_text(encoding="utf-8").splitlines()):
        one = json.loads(line)
        cell = Cell(**{**one, "setting": Setting(**one["setting"])})
        before = found.get((cell.question, cell.setting))
        if before is not None:
            cell = Cell(cell.question, cell.setting, before.plants + cell.plants, before.claims + cell.claims)
        found[cell.question, cell.setting] = cell
    return list(found.values())


def report(found: Sequence[Cell]) -> list[str]:
    """Return the lines: pooled shares by question, then every setting at or above ``STATED_FROM`` or beyond chance."""
    lines = [f"{'question':28} {'plants':>8} {'pooled':>7} {'largest':>8} {'at 7 %':>8}"]
    for name in dict.fromkeys(one.question for one in found):
        of_one = [one for one in found if one.question == name]
        plants, claims = sum(one.plants for one in of_one), sum(one.claims for one in of_one)
        worst = max(of_one, key=lambda one: one.share)
        chance = min(one.chance for one in of_one)
        lines.append(f"{name:28} {plants:8d} {claims / plants:7.3f} {worst.share:8.3f} {chance:8.4f}")
    lines += ["", f"settings at {STATED_FROM:g} and above:"]
    stated = sorted((one for one in found if one.share >= STATED_FROM), key=lambda one: one.chance)[:MOST_STATED]
    lines += [f"  {one.share:.3f} (chance {one.chance:.4f}) {one.question}: {one.setting.name}" for one in stated]
    return lines


def failures(found: Sequence[Cell]) -> list[str]:
    """Return what must not be: a pooled share above ``POOLED``, a setting beyond chance."""
    wrong = []
    for name in dict.fromkeys(one.question for one in found):
        of_one = [one for one in found if one.question == name]
        plants, claims = sum(one.plants for one in of_one), sum(one.claims for one in of_one)
        if claims > POOLED * plants and bdtrc(claims - 1, plants, POOLED) < SMALLEST_CHANCE:
            wrong.append(f"{name}: {claims / plants:.3f} of {plants} plants")
    wrong += [f"{one.question}: {one.share:.3f} in {one.setting.name}" for one in found if one.chance < SMALLEST_CHANCE]
    return wrong

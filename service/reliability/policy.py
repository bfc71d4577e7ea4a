"""When an answer may say "worse", "differ" or "misfit": one policy for every verdict.

A sentence claims what its test tests. The chance of any false claim in a whole answer is held at 5 %: between separate
questions of one answer by Bonferroni, between the items of a question by Holm. An answer without a claim says what
would have been seen, and is never "they do not differ".
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from service.errors import Text
from service.reliability.lives import Bools, Floats
from service.units import Quantity
from service.words import Outcome

LEVEL: Final = 0.05  # of a whole answer that a person asks for once
ALARM_LEVEL: Final = 0.005  # of an alarm that looks again every month: twelve looks at 0.05 are some 0.15 to 0.20
SMALLEST_P: Final = 1e-12  # no test here is known to be right beyond
SMALLEST_PRINTED_P: Final = 1e-4
WANTED_POWER: Final = 0.8
LEAST_POWER: Final = 0.2  # below it an answer without a claim says "too few"
DOUBLING: Final = 2.0

CLAIMS: Final = ("worse", "better", "differ", "misfit", "worth_it", "not_worth_it")


@dataclass(frozen=True, slots=True)
class Verdict:
    """One claim, or why there is none.

    Attributes
    ----------
    verdict : str
        One of ``Outcome``.
    detail : Text
        The sentence.
    test : str
        Name of the test.
    p_value, adjusted_p : float or None
        Of the test alone, and with the number of hypotheses of the answer allowed for; None: no test was made, [-]
    needed_failures : int or None
        Failures in all, at the present shares, at which a doubled failure rate is seen with 80 % probability; None
        unless ``too_few`` or ``no_evidence``, [-]
    power_for_doubling : float or None
        Probability with which a doubled failure rate would have been seen; None where it has no meaning, [-]
    """

    verdict: Outcome
    detail: Text
    test: str
    p_value: float | None = None
    adjusted_p: float | None = None
    needed_failures: int | None = None
    power_for_doubling: float | None = None

    @property
    def claims(self) -> bool:
        """Return whether something is claimed."""
        return self.verdict in CLAIMS

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        without = self.verdict in ("too_few", "no_evidence")
        return {
            "verdict": self.verdict,
            "detail": self.detail,
            "test": self.test,
            "p_value": self.p_value,
            "adjusted_p": self.adjusted_p,
            "needed_failures": self.needed_failures if without else None,
            "power_for_doubling": self.power_for_doubling,
        }


def floored_p(p_value: ArrayLike) -> Floats:
    """Return p-values, none below ``SMALLEST_P`` and none above 1, [-]."""
    return np.clip(np.asarray(p_value, dtype=np.float64), SMALLEST_P, 1.0)


def said_p(p_value: float, name: str = "p") -> str:
    """Return how a p-value is said: "p = 0.023", "p < 0.0001"; with more digits where two would cross the 5 %."""
    if p_value < SMALLEST_PRINTED_P:
        return f"{name} < {SMALLEST_PRINTED_P:.4f}"
    digits = next((n for n in range(2, 8) if (float(f"{p_value:.{n}g}") <= LEVEL) == (p_value <= LEVEL)), 8)
    return f"{name} = {p_value:.{digits}g}"


def said_count(number: float) -> str:
    """Return how a number of failures is said: whole from ten on, else with one decimal where it has one."""
    rounded = round(number) if number >= 10 else round(number, 1)
    return f"{rounded:g}" if rounded > 0 or number == 0 else f"{number:.1g}"


def said_share(share: float) -> str:
    """Return how a probability is said: "62 %", and never 0 or 100 for one that is neither."""
    if 0 < share < 0.01:
        return "less than 1 %"
    if 0.99 < share < 1:
        return "more than 99 %"
    return f"{100 * share:.0f} %"


def holm(p_values: ArrayLike, *, questions: int = 1, hypotheses: int | None = None) -> Floats:
    """Return the adjusted p-values of the items of a question, shape (m,), [-].

    Parameters
    ----------
    p_values : array, shape (m,)
        Of the items, [-]
    questions : int
        Separate questions in the same answer; each takes its part of the 5 %, [-]
    hypotheses : int, optional
        Number of hypotheses where it is larger than m because the others can no longer be the smallest, [-]

    Source
    ------
    Holm 1979, Scand. J. Stat. 6, 65-70.
    """
    p = np.asarray(p_values, dtype=np.float64)
    m = len(p) if hypotheses is None else max(hypotheses, len(p))
    order = np.argsort(p, kind="stable")
    stepped = np.maximum.accumulate(p[order] * (m - np.arange(len(p))))
    adjusted = np.empty_like(p)
    adjusted[order] = stepped * questions
    return floored_p(adjusted)


def bonferroni(p_values: ArrayLike, hypotheses: int) -> Floats:
    """Return p-values times the number of hypotheses, at most 1, [-]."""
    return floored_p(np.asarray(p_values, dtype=np.float64) * hypotheses)


def flagged(adjusted_p: ArrayLike) -> Bools:
    """Return which items a question may name."""
    return np.asarray(adjusted_p, dtype=np.float64) <= LEVEL


def alarming(adjusted_p: ArrayLike) -> Bools:
    """Return which items an automatic alarm, which looks again and again, may name."""
    return np.asarray(adjusted_p, dtype=np.float64) <= ALARM_LEVEL


def without_claim(power: float, *, reachable: bool = True) -> Literal["no_evidence", "too_few"]:
    """Return the outcome where nothing is claimed: too few when a doubling would hardly have been seen either."""
    return "no_evidence" if reachable and power >= LEAST_POWER else "too_few"


def normal_power(z: float, level: float = LEVEL) -> float:
    """Return the probability that a two-sided normal test with this expected statistic reaches the level, [-]."""
    limit = float(ndtri(1 - level / 2))
    return float(ndtr(z - limit) + ndtr(-z - limit))


def needed_times(z: float, level: float = LEVEL, power: float = WANTED_POWER) -> float:
    """Return by what the data have to grow so that a two-sided normal test has the power wanted, [-]."""
    wanted = float(ndtri(1 - level / 2) + ndtri(power))
    return float((wanted / z) ** 2) if z > 0 else float("inf")


def answer_verdict(items: Sequence[Verdict], claim: Outcome, named: Text, silent: Text, test: str) -> Verdict:
    """Return the verdict of an answer from those of its items.

    Parameters
    ----------
    items : sequence of Verdict
        Of all items of the answer, whatever is shown of them.
    claim : str
        What is claimed when any item is.
    named, silent : Text
        The sentence with a claim, and the beginning of the one without.
    test : str
        Name of the test.
    """
    tested = [one for one in items if one.adjusted_p is not None]
    best = min(tested, key=lambda one: (one.adjusted_p or 0.0, one.p_value or 0.0), default=None)
    p_value, adjusted = (None, None) if best is None else (best.p_value, best.adjusted_p)
    if any(one.claims for one in items):
        return Verdict(claim, named, test, p_value, adjusted)
    if items and all(one.verdict == "not_separable" for one in items):
        said = "Each group and what it would be compared with are the same stays: nothing can be told."
        return Verdict("not_separable", said, test)
    able = max(tested, key=lambda one: one.power_for_doubling or 0.0, default=None)
    power = 0.0 if able is None else able.power_for_doubling or 0.0
    outcome = "no_evidence" if any(one.verdict == "no_evidence" for one in items) else "too_few"
    needed = None if able is None else able.needed_failures
    detail = joined([*parts(silent), f" {said_power(power, needed, outcome == 'too_few')}"])
    return Verdict(outcome, detail, test, p_value, adjusted, needed, power)  # type: ignore[arg-type]


def parts(text: Text) -> tuple[str | Quantity, ...]:
    """Return the parts of a sentence, words and quantities."""
    return (text,) if isinstance(text, str) else text


def joined(pieces: Sequence[str | Quantity]) -> Text:
    """Return a sentence of parts, a plain string where no quantity is in it."""
    if all(isinstance(one, str) for one in pieces):
        return "".join(str(one) for one in pieces)
    return tuple(pieces)


def said_power(power: float, needed: int | None, too_few: bool, what: str = "a doubled failure rate") -> str:
    """Return the sentence that says what would have been seen, or how much it would take."""
    if too_few and needed is not None:
        return f"Too few: about {needed} failures in all would show {what} with 80 % probability."
    if too_few:
        return f"Too few to show {what}."
    return f"{what[0].upper()}{what[1:]} would have been flagged with {said_share(power)} probability."

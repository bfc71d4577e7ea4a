"""Whether two names may be those of one person, by the standard on characters that look alike."""

import pytest

from service.instructions.readings.look_alikes import TABLE, skeleton
from service.instructions.readings.persons import same_person


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("ljeto", "\u01c9eto"),  # single-script
        ("paypal", "p\u0430yp\u0430l"),  # mixed-script
        ("scope", "\u0455\u0441\u043e\u0440\u0435"),  # whole-script
    ],
)
def test_examples_of_the_standard_have_one_skeleton(one: str, other: str) -> None:
    """UTS #39, section 4: the three kinds of confusable pairs, each with the standard's own example (from memory)."""
    assert one != other
    assert skeleton(one) == skeleton(other)


def test_the_table_is_the_standards() -> None:
    """confusables.txt 15.0.0 says "total: 6311" at its end; each row is about one character, and its first and last."""
    rows = [line.split(";") for line in TABLE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    assert len(rows) == len({source for source, _ in rows}) == 6311
    assert all(len(source.split()) == 1 and source != target for source, target in rows)
    assert ["0430", "0061"] in rows and ["0412", "0042"] in rows and ["006D", "0072 006E"] in rows


ALIKE = [
    ("B. Foreman", "\u0412. Foreman", "Cyrillic capital Ve"),
    ("B. Foreman", "\u0392. FOREMAN", "Greek capital Beta, and in capitals"),
    ("A. Fitter", "\u0430. fitter", "Cyrillic small a"),
    ("Cora Peck", "\u0421\u043er\u0430 \u0420eck", "Cyrillic capitals and small letters mixed"),
    ("B. Miller", "B. MiIIer", "capital I for l"),
    ("B. Miller", "B. Mi11er", "digit one for l"),
    ("Otto Moor", "0tt0 M00r", "zero for O"),
    ("Bernd Maas", "Bemd Maas", "m for r and n"),
    ("A. Fitter", "A.\u200bFitter", "a space that nobody sees"),
    ("A. Fitter", "\uff21. \uff26\uff49\uff54\uff54\uff45\uff52", "letters of full width"),
    ("Nina Holt", "\u039dina Holt", "Greek capital Nu"),
    ("Ilse Bauer", "\u0406lse Bauer", "Ukrainian capital I"),
    ("E. Lind", "L\u0456nd, \u0415.", "another order of the words"),
]
OTHERS = [
    ("A. Fitter", "B. Fitter"),
    ("Nina Holt", "Vina Holt"),  # a Greek nu looks like v when small, like N when large: no reason to take N for V
    ("Gary Holt", "Garu Holt"),
    ("Ren\u00e9 Holt", "Ron\u00e9 Holt"),
    ("J. M\u00f8ller", "J. M\u00fcller"),
    ("\u0418. \u041f\u0435\u0442\u0440\u043e\u0432", "\u0418. \u041f\u0430\u0432\u043b\u043e\u0432"),
    ("Anna Berg", "Anne Berg"),
]


@pytest.mark.parametrize(("one", "other", "how"), ALIKE)
def test_a_name_written_in_letters_that_look_alike_is_the_same_person(one: str, other: str, how: str) -> None:
    """Pairs of confusables.txt (UTS #39), or forms that NFKC and case folding make one (UAX #15)."""
    assert same_person(one, other), how
    assert same_person(other, one), how


@pytest.mark.parametrize(("one", "other"), OTHERS)
def test_names_that_can_be_told_apart_are_two_persons(one: str, other: str) -> None:
    assert not same_person(one, other)
    assert not same_person(other, one)

"""The picture in README.md shows the card as it now is."""

from pathlib import Path

import pytest
from PIL import Image

from tests.api.first_sheet import FILE, WORDS, card, words, write_picture

ROOT = Path(__file__).parents[2]


def test_the_picture_in_the_readme_is_the_first_sheet_as_it_now_is(sqlite_url: str, tmp_path: Path) -> None:
    """Its size is that of Letter paper, 8.5 x 11 in; its words those that are read back from the PDF."""
    pdf = card(sqlite_url)
    assert all(said in words(pdf) for said in ("WO-10231", "CAUTION", "Take away", "HOLD 9"))
    write_picture(pdf, tmp_path / "now.png")
    with Image.open(FILE) as kept, Image.open(tmp_path / "now.png") as now:
        assert kept.width / kept.height == pytest.approx(8.5 / 11, abs=0.002)
        assert kept.info[WORDS] == now.info[WORDS], "make it anew: python -m tests.api.first_sheet"
        dark = sum(kept.convert("L").histogram()[:128]) / (kept.width * kept.height)
    assert 0.01 < dark < 0.5, "black print on white paper"


def test_the_readme_shows_it_and_it_stays_small() -> None:
    assert f"]({FILE.relative_to(ROOT)})" in (ROOT / "README.md").read_text(encoding="utf-8")
    assert FILE.stat().st_size < 150_000

"""How many numbers of the sheets a bad copy keeps: copied to 60 %, blurred, noisy, one side pale; run it by hand.

    python -m tests.benchmarks.bad_copy [folder for the pictures]

Needs tesseract on the path. Each number of the plan that stands on a sheet is looked for in what is read back, on the
copy and on the clean page: what tesseract loses on the clean page is no fault of the copy. The last line is the share
of the numbers readable on the clean page that the copy kept.
"""

import re
import subprocess
import sys
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

import pypdfium2
from PIL import Image, ImageChops, ImageFilter

from service.render.card.shaft_line import Shaft
from service.render.pdf.sheets.document import pdf_sheets
from tests.unit.instructions.machines import complete_fan, plan_of

DPI = 300
SHARE = 0.60
BLUR = 1.1
NOISE = 26.0
PALE = 60
PRINTED_IN_BLANKS = ("0.00", "0.0", "2.6")
"""What is printed before the cells of a blank: tesseract takes the first cell for a letter."""
NUMBER = re.compile(r"\d+\.\d+|(?<![\d.])\d{2,4}(?![\d.])")


def main(folder: Path) -> None:
    """Copy each page, read both back, print what was kept."""
    pdf = _sheets()
    document = pypdfium2.PdfDocument(pdf)
    kept, legible, printed = 0, 0, 0
    for number, page in enumerate(document, start=1):
        wanted = Counter(NUMBER.findall(page.get_textpage().get_text_bounded()))
        for each in PRINTED_IN_BLANKS:
            del wanted[each]
        clean = page.render(scale=DPI / 72).to_pil().convert("L")
        copy = bad_copy(clean)
        copy.save(folder / f"bad_copy_{number}.png")
        in_clean, in_copy = wanted & read_back(clean, folder), wanted & read_back(copy, folder)
        lost = in_clean - in_copy
        kept += (in_clean & in_copy).total()
        legible += in_clean.total()
        printed += wanted.total()
        print(
            f"page {number}: {wanted.total()} numbers, read on the clean page {in_clean.total()}, on the copy "
            f"{in_copy.total()}; lost by the copy: {', '.join(sorted(lost.elements())) or 'none'}"
        )
    print(
        f"{printed} numbers, {legible} readable on the clean pages, {kept} of them ({kept / legible:.0%}) on the copy"
    )


def _sheets() -> bytes:
    made = complete_fan()
    shaft = made["shafts"][0]
    record = {**plan_of(made, "tail", "drive"), "revision": 1, "external": {"number": "WO-10231"}}
    return pdf_sheets(record, units="inch", shaft=Shaft("main", shaft["positions"], shaft["drives"]), paper="letter")


def bad_copy(page: Image.Image) -> Image.Image:
    """Return a page as a tired copier gives it back at 60 %, seen at the size that it was copied to."""
    small = page.resize((round(page.width * SHARE), round(page.height * SHARE)), Image.Resampling.BILINEAR)
    soft = small.filter(ImageFilter.GaussianBlur(BLUR))
    ramp = Image.linear_gradient("L").rotate(90).resize(soft.size).point(lambda value: value * PALE // 255)
    pale = ImageChops.add(soft, ramp)
    noise = Image.effect_noise(soft.size, NOISE)
    return ImageChops.add(pale, noise, scale=1.0, offset=-128)


def read_back(page: Image.Image, folder: Path) -> Counter[str]:
    """Return the numbers that tesseract reads on a page, both as one text and as scattered words."""
    best: Counter[str] = Counter()
    with TemporaryDirectory(dir=folder) as scratch:
        picture = Path(scratch) / "page.png"
        times = 2 if page.width < DPI * 7 else 1
        page.resize((page.width * times, page.height * times), Image.Resampling.LANCZOS).save(picture)
        for mode in ("6", "11"):
            command = ["tesseract", str(picture), "-", "--psm", mode]
            found = subprocess.run(command, capture_output=True, text=True, check=True).stdout
            best |= Counter(NUMBER.findall(found))
    return best


if __name__ == "__main__":
    if len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        with TemporaryDirectory() as made_for_this:
            main(Path(made_for_this))

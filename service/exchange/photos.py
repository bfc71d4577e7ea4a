"""Photos from outside, made anew: what comes out is a picture and nothing else, without what a camera wrote into it."""

import io
import warnings
from dataclasses import dataclass
from typing import Final

from PIL import Image, ImageOps

MOST_BYTES: Final = 8 * 1024 * 1024
MOST_PIXELS: Final = 50_000_000
"""A picture that would unfold to more is refused before it does."""
LONGEST_SIDE: Final = 2560
QUALITY: Final = 85
TAKEN: Final = ("JPEG", "PNG")


class NotAPhoto(ValueError):
    """The bytes are no picture that is taken here."""


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo made anew: JPEG without metadata, upright, its longer side at most LONGEST_SIDE, [pixel]."""

    data: bytes
    width: int
    height: int


def photo_made_anew(data: bytes) -> Photo:
    """Return the picture that the bytes show, written anew.

    Raises
    ------
    NotAPhoto
        No JPEG or PNG, damaged, or of more than MOST_PIXELS.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            with Image.open(io.BytesIO(data), formats=TAKEN) as opened:
                if opened.width * opened.height > MOST_PIXELS:
                    raise NotAPhoto(f"{opened.width} x {opened.height} pixels; at most {MOST_PIXELS} are taken")
                upright = ImageOps.exif_transpose(opened).convert("RGB")
    except NotAPhoto:
        raise
    except Exception as error:  # whatever the decoder says of bytes from outside: it is no photo
        raise NotAPhoto("no JPEG or PNG that can be read") from error
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    plain = Image.new("RGB", upright.size)  # nothing of the file that came is carried over
    plain.paste(upright)
    written = io.BytesIO()
    plain.save(written, "JPEG", quality=QUALITY)
    return Photo(written.getvalue(), *plain.size)

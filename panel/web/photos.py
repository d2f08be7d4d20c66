"""Pictures as phones send them, encoded anew: upright, of a sensible size, and without anything the camera noted."""

from __future__ import annotations

import io
import warnings

LONGEST_SIDE = 1600
MOST_PIXELS = 80_000_000
QUALITY = 82
KINDS = ("JPEG", "PNG", "WEBP")


def encoded_anew(content: bytes) -> tuple[bytes, tuple[int, int]]:
    """The picture as a JPEG with its width and height in pixels; nothing of the sent file but its pixels is kept.

    ValueError, in the user's words, for what is no picture, or one too large to open safely.
    """
    from PIL import Image, ImageOps, UnidentifiedImageError

    said = "This is no picture that can be read. Send a JPEG, PNG or WebP."
    try:
        with warnings.catch_warnings(), Image.open(io.BytesIO(content), formats=KINDS) as picture:
            warnings.simplefilter("ignore")
            if picture.width * picture.height > MOST_PIXELS:
                raise ValueError("This picture has too many pixels. Take it again in a lower resolution.")
            upright = ImageOps.exif_transpose(picture).convert("RGB")
    except (UnidentifiedImageError, OSError, SyntaxError, Image.DecompressionBombError):
        raise ValueError(said) from None
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    bare = Image.frombytes("RGB", upright.size, upright.tobytes())
    written = io.BytesIO()
    bare.save(written, "JPEG", quality=QUALITY, optimize=True)
    return written.getvalue(), bare.size

"""Embedded fonts, and text that never runs out of its space.

DejaVu Sans comes with matplotlib, which the reports need anyway; it is found without importing matplotlib.
Chinese, Japanese and Korean characters are outside it: they are drawn with the reader's own font (the PDF
standard's character collections), and `doubts` says so.
"""

from __future__ import annotations

import threading
import unicodedata
from functools import cache
from importlib.util import find_spec
from itertools import groupby
from pathlib import Path
from xml.sax.saxutils import escape

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.cidfonts import UnicodeCIDFont
from reportlab.pdfbase.ttfonts import TTFont

BODY = "DejaVuSans"
BOLD = "DejaVuSans-Bold"
DIGIT_HEIGHT = 0.729  # of the type size, both weights: measured in the font files
DIGIT_WIDTH = 0.696  # bold, all ten alike
_MISSING = "\u25a1"
_KANA = "HeiseiKakuGo-W5"
_HAN = "STSong-Light"
_HANGUL = "HYGothic-Medium"
_LOCK = threading.Lock()


@cache
def _covered() -> frozenset[int]:
    with _LOCK:
        spec = find_spec("matplotlib")
        roots = list(spec.submodule_search_locations or ()) if spec else []
        if not roots:
            raise RuntimeError("printing needs the fonts that come with matplotlib; install matplotlib")
        folder = Path(roots[0]) / "mpl-data" / "fonts" / "ttf"
        for name in (BODY, BOLD):
            pdfmetrics.registerFont(TTFont(name, str(folder / f"{name}.ttf")))
        pdfmetrics.registerFontFamily(BODY, normal=BODY, bold=BOLD, italic=BODY, boldItalic=BOLD)
        for name in (_KANA, _HAN, _HANGUL):
            pdfmetrics.registerFont(UnicodeCIDFont(name))
        return frozenset(pdfmetrics.getFont(BODY).face.charToGlyph)


def ready() -> None:
    """Load the fonts; cheap after the first call."""
    _covered()


def _plain(text: str) -> str:
    """Composed characters, blanks for line breaks and control signs."""
    composed = unicodedata.normalize("NFC", text)
    return "".join(" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in composed)


def _is_hangul(character: str) -> bool:
    return unicodedata.name(character, "").startswith("HANGUL")


def _is_east_asian(character: str) -> bool:
    name = unicodedata.name(character, "")
    return name.startswith(("CJK", "HIRAGANA", "KATAKANA", "HANGUL", "FULLWIDTH", "IDEOGRAPHIC"))


def runs(text: str, *, bold: bool = False) -> list[tuple[str, str]]:
    """`text` as (font name, piece): a piece holds only what its font can draw, others become an empty box."""
    covered, own = _covered(), BOLD if bold else BODY
    clean = _plain(text)
    japanese = any("KANA" in unicodedata.name(character, "") for character in clean)

    def font_of(character: str) -> str:
        if ord(character) in covered or not _is_east_asian(character):
            return own
        if _is_hangul(character):
            return _HANGUL
        return _KANA if japanese else _HAN

    pieces = [(font, "".join(group)) for font, group in groupby(clean, key=font_of)]
    return [
        (font, "".join(c if ord(c) in covered else _MISSING for c in piece) if font == own else piece)
        for font, piece in pieces
    ]


def doubts(texts: list[str]) -> tuple[str, ...]:
    """What the paper will not show as typed, a sentence each; empty when all is well."""
    covered = _covered()
    found = []
    for text in dict.fromkeys(texts):
        clean = _plain(text)
        foreign = [c for c in clean if ord(c) not in covered]
        missing = "".join(dict.fromkeys(c for c in foreign if not _is_east_asian(c)))
        if missing:
            found.append(
                f"“{text}” holds signs that the sheet’s font does not have ({missing}): "
                f"an empty box stands for each. Write it in by hand, or type it in other letters."
            )
        elif foreign:
            found.append(
                f"“{text}” is drawn with the font of the machine that prints it: check it on the paper."
            )
        if any(unicodedata.bidirectional(c) in ("R", "AL") for c in clean):
            found.append(
                f"“{text}” is written from right to left, which the sheet does not lay out: "
                "check it on the paper, and add it by hand where it reads wrong."
            )
    return tuple(found)


def markup(text: str, *, bold: bool = False) -> str:
    """`text` for a reportlab paragraph: escaped, each piece in a font that can draw it."""
    return "".join(f'<font name="{font}">{escape(piece)}</font>' for font, piece in runs(text, bold=bold))


def width(text: str, size: float, *, bold: bool = False, spacing: float = 0.0) -> float:
    """Width in points of `text` set at `size` points, `spacing` points between characters."""
    natural = sum(pdfmetrics.stringWidth(piece, font, size) for font, piece in runs(text, bold=bold))
    return float(natural) + spacing * max(len(_plain(text)) - 1, 0)


def fitted(text: str, size: float, room: float, *, bold: bool = False, smallest: float = 5.0) -> float:
    """The type size in points, `size` at most and `smallest` at least, at which `text` fits `room` points."""
    needed = width(text, size, bold=bold)
    return size if needed <= room else max(size * room / needed, smallest)


def shortened(text: str, size: float, room: float, *, bold: bool = False) -> str:
    """`text`, cut with an ellipsis where it is wider than `room` points."""
    room += 0.1  # what `fitted` shrank to the room exactly must not lose a letter to rounding
    if width(text, size, bold=bold) <= room:
        return text
    kept = text
    while kept and width(kept.rstrip() + "…", size, bold=bold) > room:
        kept = kept[:-1]
    return kept.rstrip() + "…"

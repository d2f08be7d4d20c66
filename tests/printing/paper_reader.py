"""Reads prints back the way a printer, a ruler and a phone do."""

import ctypes
from dataclasses import dataclass
from io import BytesIO
from typing import Any

import pypdfium2
import pypdfium2.raw as pdfium
import zxingcpp
from PIL import Image, ImageFilter

MM = 25.4 / 72  # mm in a point


@dataclass(frozen=True)
class Box:
    """A drawn thing in mm from the page's top left corner."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.bottom - self.top

    def within(self, left: float, top: float, right: float, bottom: float, slack: float = 0.05) -> bool:
        return (
            self.left >= left - slack
            and self.top >= top - slack
            and self.right <= right + slack
            and self.bottom <= bottom + slack
        )


def document(pdf: bytes) -> pypdfium2.PdfDocument:
    return pypdfium2.PdfDocument(BytesIO(pdf))


def picture(pdf: bytes, page: int = 0, dpi: int = 200) -> Image.Image:
    return document(pdf)[page].render(scale=dpi / 72).to_pil().convert("L")


def text_of(pdf: bytes) -> str:
    pages = [page.get_textpage().get_text_range() for page in document(pdf)]
    return "\n".join(pages).replace("\r\n", "\n")


def words_of(pdf: bytes) -> list[str]:
    return text_of(pdf).split()


def symbols_in(image: Image.Image) -> list[Any]:
    found = zxingcpp.read_barcodes(image, formats=zxingcpp.BarcodeFormat.QRCode)
    return [one for one in found if one.valid]


def payloads(image: Image.Image) -> list[str]:
    return sorted(one.text for one in symbols_in(image))


def all_payloads(pdf: bytes) -> list[str]:
    return sorted(text for n in range(len(document(pdf))) for text in payloads(picture(pdf, n)))


def drawn(pdf: bytes, kind: int, page: int = 0) -> list[Box]:
    """Boxes of the page's objects of one kind: pdfium.FPDF_PAGEOBJ_PATH or _TEXT."""
    sheet = document(pdf)[page]
    height = sheet.get_height()
    boxes = []
    for one in sheet.get_objects(filter=[kind]):
        left, bottom, right, top = one.get_bounds()
        boxes.append(Box(left * MM, (height - top) * MM, right * MM, (height - bottom) * MM))
    return boxes


def paths(pdf: bytes, page: int = 0) -> list[Box]:
    return drawn(pdf, pdfium.FPDF_PAGEOBJ_PATH, page)


def outlines(pdf: bytes, page: int = 0) -> list[Box]:
    """Boxes of the paths themselves, whatever the width of their stroke."""
    sheet = document(pdf)[page]
    height = sheet.get_height()
    found = []
    for one in sheet.get_objects(filter=[pdfium.FPDF_PAGEOBJ_PATH]):
        xs, ys = [], []
        for number in range(pdfium.FPDFPath_CountSegments(one)):
            x, y = ctypes.c_float(), ctypes.c_float()
            pdfium.FPDFPathSegment_GetPoint(pdfium.FPDFPath_GetPathSegment(one, number), x, y)
            xs.append(x.value * MM)
            ys.append((height - y.value) * MM)
        found.append(Box(min(xs), min(ys), max(xs), max(ys)))
    return found


def texts(pdf: bytes, page: int = 0) -> list[Box]:
    return drawn(pdf, pdfium.FPDF_PAGEOBJ_TEXT, page)


def blurred(image: Image.Image) -> Image.Image:
    return image.filter(ImageFilter.GaussianBlur(1))


def tilted(image: Image.Image) -> Image.Image:
    return image.rotate(7, resample=Image.Resampling.BICUBIC, expand=True, fillcolor=255)


def shrunk(image: Image.Image) -> Image.Image:
    return image.resize((round(image.width * 0.6), round(image.height * 0.6)), Image.Resampling.LANCZOS)


def maltreated(image: Image.Image) -> Image.Image:
    """What a phone may see: the sheet out of focus, tilted, from afar."""
    return shrunk(tilted(blurred(image)))

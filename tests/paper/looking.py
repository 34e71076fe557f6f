"""Pages as a person and a scanner see them: rendered by one library, read by another, neither of which made them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pypdfium2
import zxingcpp
from PIL import Image, ImageDraw, ImageFilter

from thwart.bench.protocol import Protocol, read
from thwart.languages import language
from thwart.paper.sizes import Box

DEMOS = Path(__file__).parents[2] / "demo"
INCH_MM = 25.4
_FORMATS = zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCode, zxingcpp.BarcodeFormat.Code128])


def demo(name: str, **more: str) -> Protocol:
    """The protocol of a demo."""
    text = (DEMOS / name / "protocol.toml").read_text()
    for old, new in more.items():
        text = text.replace(old, new)
    return read(text, name)


def words(code: str = "en") -> dict[str, str]:
    tables = language(code).tables
    return {**{f"name-{name}": said for name, said in tables["words"].items()}, **tables["paper"]}


def pages(pdf: bytes, dpi: float = 150) -> Iterator[Image.Image]:
    """The pages of a PDF, rendered in grey."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        for page in document:
            yield page.render(scale=dpi / 72).to_pil()
    finally:
        document.close()


@dataclass(frozen=True)
class Seen:
    """A code that was read: its text, its kind, the middle of it in mm from the lower left."""

    text: str
    kind: str
    x: float
    y: float


def codes(image: Image.Image, dpi: float = 150) -> list[Seen]:
    """Every code on a page."""
    found = []
    for code in zxingcpp.read_barcodes(image.convert("L"), formats=_FORMATS, try_invert=False):
        p = code.position
        corners = (p.top_left, p.top_right, p.bottom_left, p.bottom_right)
        x, y = sum(c.x for c in corners) / 4, sum(c.y for c in corners) / 4
        kind = re.sub(r"[^a-z0-9]", "", str(code.format).rpartition(".")[2].lower())
        found.append(Seen(code.text, kind, x / dpi * INCH_MM, (image.height - y) / dpi * INCH_MM))
    return found


def worn(image: Image.Image) -> Iterator[tuple[str, Image.Image]]:
    """The page as a scanner may get it: out of focus, askew, from further off, and all three."""
    grey = image.convert("L")
    blurred = grey.filter(ImageFilter.GaussianBlur(1.5))
    yield "blurred", blurred
    yield "tilted", grey.rotate(3, resample=Image.Resampling.BICUBIC, expand=True, fillcolor=255)
    size = (round(grey.width * 0.6), round(grey.height * 0.6))
    yield "from afar", grey.resize(size, Image.Resampling.LANCZOS)
    askew = blurred.rotate(-3, resample=Image.Resampling.BICUBIC, expand=True, fillcolor=255)
    yield "all three", askew.resize((round(askew.width * 0.6), round(askew.height * 0.6)), Image.Resampling.LANCZOS)


def ink_outside(image: Image.Image, boxes: Iterable[Box], dpi: float = 150, slack: float = 0.35) -> int:
    """How many dark pixels lie in none of the boxes (mm), each `slack` mm wider."""
    rest = image.convert("L").point(lambda level: 255 if level < 128 else 0)
    pen = ImageDraw.Draw(rest)
    scale = dpi / INCH_MM
    for box in boxes:
        wide = box.inside(-slack)
        pen.rectangle(
            (wide.x * scale, image.height - wide.top * scale, wide.right * scale, image.height - wide.y * scale), fill=0
        )
    return sum(rest.histogram()[128:])


def cropped(image: Image.Image, box: Box, dpi: float) -> Image.Image:
    """The part of a page within a box in mm."""
    s = dpi / INCH_MM
    return image.crop(
        (round(box.x * s), round(image.height - box.top * s), round(box.right * s), round(image.height - box.y * s))
    )


def darkest(image: Image.Image, box: Box, dpi: float = 150) -> int:
    """The darkest grey (0 black, 255 white) within a box in mm."""
    histogram = cropped(image, box, dpi).convert("L").histogram()
    return next(level for level, n in enumerate(histogram) if n)

"""Words in pictures: numbers, captions, legends, pictures side by side."""

from collections.abc import Sequence

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from blendkit.report.looks import Look, hatch_lines
from blendkit.report.screen import Picture

_PAPER, _INK = (255, 255, 255), (20, 20, 20)


def number_tag(picture: Picture, text: str, at: tuple[int, int]) -> Picture:
    """Return a picture with a small label, black on white, centred on (x, y) or beside the rim."""
    image = Image.fromarray(picture)
    draw = ImageDraw.Draw(image)
    font = _font(max(round(max(picture.shape[:2]) / 70), 11))
    left, top, right, bottom = draw.textbbox((0, 0), text, font=font)
    pad = max(round((bottom - top) / 3), 2)
    width, height = right - left + 2 * pad, bottom - top + 2 * pad
    x = min(max(at[0] - width / 2, 0), max(image.width - width - 1, 0))
    y = min(max(at[1] - height / 2, 0), max(image.height - height - 1, 0))
    draw.rectangle((x, y, x + width, y + height), fill=_PAPER, outline=_INK)
    draw.text((x + pad - left, y + pad - top), text, fill=_INK, font=font)
    return np.asarray(image, np.uint8)


def captioned(picture: Picture, text: str, *, size_px: int = 22) -> Picture:
    """Return a picture with a line of text in a strip above it."""
    strip = Image.new("RGB", (picture.shape[1], round(1.9 * size_px)), _PAPER)
    ImageDraw.Draw(strip).text((size_px // 2, 0.4 * size_px), text, fill=_INK, font=_font(size_px))
    return np.vstack([np.asarray(strip, np.uint8), picture])


def side_by_side(pictures: Sequence[Picture], *, gap_px: int = 12) -> Picture:
    """Return pictures of one height in a row, white between them."""
    gap = np.full((pictures[0].shape[0], gap_px, 3), 255, np.uint8)
    row = [piece for picture in pictures for piece in (picture, gap)]
    return np.hstack(row[:-1])


def stacked(pictures: Sequence[Picture], *, gap_px: int = 12) -> Picture:
    """Return pictures in a column, the narrower ones filled up with white."""
    width = max(picture.shape[1] for picture in pictures)
    rows = []
    for picture in pictures:
        missing = width - picture.shape[1]
        rows.append(np.pad(picture, ((0, gap_px), (0, missing), (0, 0)), constant_values=255))
    return np.vstack(rows)[:-gap_px]


def legend(entries: Sequence[tuple[str, Look]], width_px: int, *, size_px: int = 18) -> Picture:
    """Return a strip that explains looks: a hatched swatch and its name each, in lines."""
    font = _font(size_px)
    swatch, line = round(2.2 * size_px), round(1.8 * size_px)
    places, x, y = [], size_px // 2, size_px // 3
    for name, look in entries:
        needed = round(swatch + size_px / 2 + font.getlength(name) + size_px)
        if x + needed > width_px and x > size_px // 2:
            x, y = size_px // 2, y + line
        places.append((name, look, x, y))
        x += needed
    strip = np.full((y + line, width_px, 3), 255, np.uint8)
    for _, look, x, y in places:
        box = strip[y : y + round(1.3 * size_px), x : x + swatch]
        box[:] = _swatch(look, (box.shape[1], box.shape[0]))
    image = Image.fromarray(strip)
    draw = ImageDraw.Draw(image)
    for name, _, x, y in places:
        draw.text((x + swatch + size_px // 2, y), name, fill=_INK, font=font)
    return np.asarray(image, np.uint8)


def _swatch(look: Look, size: tuple[int, int]) -> Picture:
    paper = 255 - 0.3 * (255 - np.array(look.color, np.float32))
    lines = hatch_lines(look.hatch, size, max(size[1] // 3, 5))
    return np.where(lines[..., None], np.array(look.color), paper).astype(np.uint8)


def _font(size_px: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size_px)

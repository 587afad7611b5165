"""What a PDF really shows, read back by pdfplumber: words with their places, fonts, pages."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
import pdfplumber

POINT = 72 / 25.4  # points a mm


@dataclass(frozen=True)
class Page:
    """A page's text, its words' boxes (n, 4) [pt] left, top, right, bottom, the words, its size [pt], its fonts."""

    text: str
    boxes: np.ndarray
    words: list[str]
    size: tuple[float, float]
    fonts: set[str]


def read(pdf: bytes) -> list[Page]:
    """The pages of a PDF."""
    pages = []
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        for page in document.pages:
            words = page.extract_words(use_text_flow=False, keep_blank_chars=False)
            boxes = np.array([[w["x0"], w["top"], w["x1"], w["bottom"]] for w in words]).reshape(-1, 4)
            text = " ".join((page.extract_text() or "").split())
            size = (float(page.width), float(page.height))
            pages.append(Page(text, boxes, [w["text"] for w in words], size, {c["fontname"] for c in page.chars}))
    return pages


def embedded(pdf: bytes) -> dict[str, bool]:
    """Each font of the document: whether its programme is in the file."""
    found = {}
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        for page in document.pages:
            fonts = page.page_obj.resources.get("Font") or {}
            for reference in fonts.values():
                found |= _embedded(reference.resolve())
    return found


def _embedded(font: dict[str, object]) -> dict[str, bool]:
    from pdfminer.pdftypes import resolve1

    descendants = resolve1(font.get("DescendantFonts"))
    inner = resolve1(descendants[0]) if descendants else font
    descriptor = resolve1(inner.get("FontDescriptor")) or {}
    return {str(font.get("BaseFont")): any(key in descriptor for key in ("FontFile", "FontFile2", "FontFile3"))}


def outside(page: Page, side_mm: float, top_mm: float, bottom_mm: float) -> list[str]:
    """Words that reach beyond these margins."""
    left, top = side_mm * POINT - 0.5, top_mm * POINT - 0.5
    right, low = page.size[0] - left, page.size[1] - bottom_mm * POINT + 0.5
    b = page.boxes
    wrong = (b[:, 0] < left) | (b[:, 2] > right) | (b[:, 1] < top) | (b[:, 3] > low)
    return [w for w, bad in zip(page.words, wrong, strict=True) if bad]


def overlapping(page: Page) -> list[tuple[str, str]]:
    """Pairs of words that lie on each other by more than a tenth of the smaller; line boxes are a little taller than
    what they hold."""
    b = page.boxes
    low, high = np.maximum(b[:, None, :2], b[None, :, :2]), np.minimum(b[:, None, 2:], b[None, :, 2:])
    shared = np.prod(np.clip(high - low - [0.2, 1.6], 0, None), axis=2)
    area = np.prod(b[:, 2:] - b[:, :2], axis=1)
    wrong = np.triu(shared > 0.1 * np.minimum(area[:, None], area[None, :]), 1)
    return [(page.words[i], page.words[j]) for i, j in np.argwhere(wrong)]

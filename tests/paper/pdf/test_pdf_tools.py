"""The handouts seen by another reader than the tests' own: the tools of poppler (Debian: poppler-utils)."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from coach.paper.pdf.document import make_sheet_pdf
from coach.paper.pdf.layout import MARGIN_LEFT, MARGIN_TOP
from tests.paper.pdf.pdf_made import made_song

DPI = 72


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A song's handout in a file."""
    for tool in ("pdffonts", "pdftotext", "pdftoppm"):
        if shutil.which(tool) is None:
            pytest.skip(f"missing tool: {tool}")
    path = tmp_path_factory.mktemp("paper") / "sheet.pdf"
    path.write_bytes(make_sheet_pdf([made_song(4)]).data)
    return path


def said(*command: str | Path) -> bytes:
    """What a command prints."""
    return subprocess.run(command, check=True, capture_output=True).stdout


def test_every_font_is_embedded_as_a_subset(sheet: Path) -> None:
    """Columns emb, sub and uni of pdffonts are all `yes`."""
    rows = said("pdffonts", sheet).decode().splitlines()[2:]
    assert len(rows) >= 2
    assert all(re.search(r" yes +yes +yes ", row) for row in rows)


def test_text_can_be_copied_out(sheet: Path) -> None:
    """Title, order, words and cautions."""
    text = said("pdftotext", "-layout", sheet, "-").decode()
    piece = made_song(4)
    assert piece.title in text
    assert f"Order: {piece.order[0]}" in text
    assert "not medical advice" in text
    assert all(word.text.rstrip("-") in text for bar in piece.bars for word in bar.words)


def test_the_page_is_ink_on_white_inside_its_margins(sheet: Path) -> None:
    """Rendered at 72 dots an inch: black ink on it, and the margins on the left, on the right and on top are white."""
    picture = said("pdftoppm", "-gray", "-r", str(DPI), "-f", "1", "-l", "1", sheet)
    _, wide, high, _, pixels = picture.split(maxsplit=4) if picture[:2] == b"P5" else (b"",) * 5
    width, height = int(wide), int(high)
    rows = [pixels[k * width : (k + 1) * width] for k in range(height)]
    assert min(pixels) < 40
    edge = int(MARGIN_LEFT) - 2
    assert all(set(row[:edge]) | set(row[-edge:]) == {255} for row in rows)
    assert all(set(row) == {255} for row in rows[: int(MARGIN_TOP) - 2])

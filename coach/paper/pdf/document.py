"""PDF files: pages of values painted, with fonts embedded, an outline, and always the same bytes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from coach.paper.pdf.glyphs import FONTS, load_font
from coach.paper.pdf.layout import Item, Path, Text, check_paper
from coach.paper.pdf.page_flow import Document, flow_blocks
from coach.paper.pdf.sections import make_ladder_blocks, make_layer_blocks, make_piece_blocks
from coach.song.piece import Piece

CAUTION = "Stop at pain, numbness or tingling. General information, not medical advice."


@dataclass(frozen=True)
class PdfSheet:
    """A finished PDF, its pages, and how many bars are engraved in it."""

    data: bytes
    pages: int
    bars: int


def make_sheet_pdf(
    pieces: Sequence[Piece], *, source: str = "", ties: bool = False, paper: str = "a4", caution: str = CAUTION
) -> PdfSheet:
    """The handout of a song's arrangements (or of patterns over chords), each piece from a new page on.

    Each part is written once, in the layer in which it sounds, with the order of parts at the head. `source` says
    where words and tune come from. A note that rings over a beat gets a light rest there, or with `ties` a tie.
    Raises BadInput for an unknown `paper` (a4, letter).
    """
    return print_pages(sheet_pages(pieces, source=source, ties=ties, paper=paper, caution=caution))


def sheet_pages(
    pieces: Sequence[Piece], *, source: str = "", ties: bool = False, paper: str = "a4", caution: str = CAUTION
) -> Document:
    """The pages of `make_sheet_pdf` as values."""
    paper = check_paper(paper)
    blocks = [b for k, piece in enumerate(pieces) for b in make_piece_blocks(piece, paper, f"piece{k}", source, ties)]
    names = ", ".join(dict.fromkeys(p.arrangement for p in pieces if p.arrangement))
    return flow_blocks(blocks, paper, _title(pieces), f"Fingerstyle guitar tab{': ' if names else ''}{names}", caution)


def make_layers_pdf(piece: Piece, *, about: str = "", paper: str = "a4", caution: str = CAUTION) -> PdfSheet:
    """One pattern over its chords in every layer, from the thumb alone to all of it. Raises as `make_sheet_pdf`."""
    return print_pages(layers_pages(piece, about=about, paper=paper, caution=caution))


def layers_pages(piece: Piece, *, about: str = "", paper: str = "a4", caution: str = CAUTION) -> Document:
    """The pages of `make_layers_pdf` as values."""
    paper = check_paper(paper)
    return flow_blocks(
        make_layer_blocks(piece, about, paper), paper, piece.title, "Picking pattern, layer by layer", caution
    )


def make_ladder_pdf(
    pieces: Sequence[Piece], *, title: str, abouts: Sequence[str] = (), paper: str = "a4", caution: str = CAUTION
) -> PdfSheet:
    """Several patterns one under the other, in the order given; `abouts` says what each is good for.

    Raises BadInput as `make_sheet_pdf`.
    """
    return print_pages(ladder_pages(pieces, title=title, abouts=abouts, paper=paper, caution=caution))


def ladder_pages(
    pieces: Sequence[Piece], *, title: str, abouts: Sequence[str] = (), paper: str = "a4", caution: str = CAUTION
) -> Document:
    """The pages of `make_ladder_pdf` as values."""
    paper = check_paper(paper)
    return flow_blocks(
        make_ladder_blocks(pieces, title, abouts, paper), paper, title, "Picking patterns, easiest first", caution
    )


def _title(pieces: Sequence[Piece]) -> str:
    return " · ".join(dict.fromkeys(piece.title for piece in pieces))


# The painter ----------------------------------------------------------------------------------


def print_pages(leaves: Document) -> PdfSheet:
    """The pages as a PDF. It carries no date, so equal pages give equal bytes."""
    from reportlab.pdfgen.canvas import Canvas

    out = BytesIO()
    for font in FONTS:
        load_font(font)
    canvas = Canvas(out, pagesize=leaves.size, invariant=1, pageCompression=1, lang="en", initialFontName=FONTS[0])
    canvas.setTitle(leaves.title)
    canvas.setSubject(leaves.subject)
    canvas.setAuthor("Steady Thumb")
    canvas.setCreator("Steady Thumb")
    canvas.setProducer("Steady Thumb")
    level = -1
    for number, page in enumerate(leaves.pages):
        for k, (depth, title, y) in enumerate(page.marks):
            level = min(depth, level + 1)  # an outline may go in by one step only
            canvas.bookmarkHorizontal(f"mark{number}-{k}", 0, leaves.size[1] - y + 12)
            canvas.addOutlineEntry(title, f"mark{number}-{k}", level)
        for item in page.items:
            _paint(canvas, item, leaves.size[1])
        canvas.showPage()
    canvas.save()
    return PdfSheet(out.getvalue(), len(leaves.pages), leaves.bars)


def _paint(canvas: Any, item: Item, high: float) -> None:
    if isinstance(item, Text):
        canvas.setFillGray(item.grey)
        canvas.setFont(item.font, item.size)
        canvas.drawString(item.x, high - item.y, item.text)
    elif isinstance(item, Path):
        path = canvas.beginPath()
        for op, at in item.ops:
            turned = [high - v if k % 2 else v for k, v in enumerate(at)]
            if op == "M":
                path.moveTo(*turned)
            elif op == "L":
                path.lineTo(*turned)
            elif op == "C":
                path.curveTo(*turned)
            else:
                path.close()
        if item.line:
            canvas.setLineWidth(item.line)
            canvas.setStrokeGray(item.grey)
        else:
            canvas.setFillGray(item.grey)
        canvas.drawPath(path, stroke=1 if item.line else 0, fill=0 if item.line else 1)

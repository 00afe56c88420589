"""The handouts read back from the PDF: figures against plucks, text against margins, lines against figures."""

from __future__ import annotations

from fractions import Fraction
from itertools import groupby

import pymupdf
import pytest

from coach.music.chords import read_bars
from coach.paper.pdf.document import make_layers_pdf, make_sheet_pdf, print_pages, sheet_pages
from coach.paper.pdf.endings import find_sections
from coach.picking.plucks import SOFT
from coach.picking.realise import hold_bars
from coach.song.piece import Piece, PieceBar, pattern_piece
from tests.paper.pdf.pdf_faults import faults
from tests.paper.pdf.pdf_made import made_song
from tests.paper.pdf.pdf_read import Figures, bars_of, runs, staves, strokes
from tests.picking.shipped import BOOK, LIBRARY, PATTERNS


def over(name: str, chords: str, loops: int = 1) -> Piece:
    """A shipped pattern over chords at 80."""
    pattern = LIBRARY.patterns[name]
    held = hold_bars(read_bars(chords), pattern.meter, BOOK)
    return pattern_piece(pattern, held, Fraction(80), loops=loops)


def expected(bar: PieceBar) -> list[Figures]:
    """What a reader should find in the bar: a column an instant."""
    columns = []
    for _, plucks in groupby(sorted(bar.sounding, key=lambda p: (p.beat, p.string)), key=lambda p: p.beat):
        columns.append(tuple((p.string, f"({p.fret})" if p.stress == SOFT else str(p.fret)) for p in plucks))
    return columns


def check_figures(document: pymupdf.Document, bars: list[PieceBar]) -> int:
    """Every bar's figures are its plucks; an empty one, by the sign in it, those of the bar before. How many are so."""
    read = [bar for page in document for bar in bars_of(page)]
    assert len(read) == len(bars)
    like = 0
    for k, (figures, bar) in enumerate(zip(read, bars, strict=True)):
        if not figures and bar.sounding:
            assert expected(bar) == expected(bars[k - 1])
            like += 1
        else:
            assert figures == expected(bar), f"bar {k + 1}"
    return like


def check_page(page: pymupdf.Page) -> None:
    """Text lies inside the margins and apart from other text; no staff line runs through a figure."""
    written = runs(page)
    wide, high = page.rect.width, page.rect.height
    for run in written:
        assert 40 < run.left < run.right < wide - 40, run
        assert 32 < run.base < high - 20, run
    # From the baseline to half the size is ink of every letter but the very flat ones.
    boxes = sorted((r.base - 0.5 * r.size, r.base, r.left, r.right, r.text) for r in written)
    for k, (_, base, left, right, text) in enumerate(boxes):
        for other in boxes[k + 1 :]:
            if other[0] >= base - 0.3:
                break
            assert min(right, other[3]) - max(left, other[2]) < 0.3, (text, other)
    level, *_ = strokes(page)
    lines = {round(y, 2) for staff in staves(page) for y in staff.lines}
    for y, left, right in level:
        for run in written:
            if round(y, 2) in lines and run.base - 0.7 * run.size < y < run.base:
                assert right <= run.left + 0.05 or left >= run.right - 0.05, (run, y)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_songs_of_every_kind_without_a_collision(seed: int, paper: str) -> None:
    """Random charts: as values nothing overlaps or leaves the margins, the PDF says the plucks. (All: the bench.)"""
    piece = made_song(seed)
    leaves = sheet_pages([piece], paper=paper)
    assert faults(leaves) == ()
    document = pymupdf.open(stream=print_pages(leaves).data)
    check_figures(document, [bar for part in find_sections(piece) for bar in part.bars])
    for page in document:
        check_page(page)


@pytest.mark.parametrize("first", range(0, len(PATTERNS), 12))
def test_every_shipped_pattern_prints_its_plucks(first: int) -> None:
    """Over two chords, the figures of all bars are the frets plucked, and nothing collides."""
    pieces = [over(p.id, p.chords or "C | F#m", loops=len(p.bars)) for p in PATTERNS[first : first + 12]]
    leaves = sheet_pages(pieces)
    assert faults(leaves) == ()
    document = pymupdf.open(stream=print_pages(leaves).data)
    check_figures(document, [bar for piece in pieces for part in find_sections(piece) for bar in part.bars])


def test_a_bar_played_again_is_a_sign() -> None:
    """Four bars of C on the thumb alone: one is written, three say `as before`; a new line writes it out again."""
    piece = over("thumb-on-the-beat", "C | C | C | C")
    document = pymupdf.open(stream=make_sheet_pdf([piece]).data)
    assert check_figures(document, list(piece.bars)) == 3


@pytest.mark.parametrize("seed", [1, 4])
def test_with_ties_nothing_collides_either(seed: int) -> None:
    """Asked for, ringing notes are tied instead of resting; the figures are the same."""
    piece = made_song(seed)
    leaves = sheet_pages([piece], ties=True)
    assert faults(leaves) == ()
    document = pymupdf.open(stream=print_pages(leaves).data)
    check_figures(document, [bar for part in find_sections(piece) for bar in part.bars])


def test_a_wrong_figure_would_be_found() -> None:
    """The reader is no rubber stamp: another chord's bars are not these."""
    document = pymupdf.open(stream=make_sheet_pdf([over("outside-in", "C | Am")]).data)
    with pytest.raises(AssertionError):
        check_figures(document, list(over("outside-in", "C | F").bars))


def test_every_layer_of_a_pattern_is_printed() -> None:
    """Thumb first, the full pattern last; each layer's figures are what sounds in it."""
    piece = over("pinch-on-one", "C | G")
    sheet = make_layers_pdf(piece, about="A pinch.")
    bars = [bar for layer in piece.layers for bar in piece.layered([layer] * 2).bars]
    document = pymupdf.open(stream=sheet.data)
    assert len(piece.layers) > 2
    check_figures(document, bars)
    assert (sheet.bars, sheet.pages) == (len(bars), len(document))
    headings = [title for _, title, _ in document.get_toc()]
    assert headings == ["Pinch on one", *piece.layers] or headings[1:] == list(piece.layers)


def test_fonts_are_embedded_and_text_comes_out() -> None:
    """Each font's program is in the file; title, part, words, chords and count can be copied out."""
    piece = made_song(4)
    document = pymupdf.open(stream=make_sheet_pdf([piece]).data)
    for page in document:
        fonts = page.get_fonts()
        assert fonts
        assert all(document.extract_font(font[0])[3] for font in fonts)
        assert all("DejaVu" in font[3] for font in fonts)
    text = " ".join(page.get_text() for page in document)
    for said in (piece.title, f"{piece.bars[0].bpm}", *(f"{name}" for name in piece.order)):
        assert said in text
    for bar in piece.bars:
        for word in bar.words:
            assert word.text.rstrip("-") in text


def test_metadata_outline_and_page_numbers() -> None:
    """Title and subject are those of the sheet, the outline leads to each part, no clock is in it."""
    piece = made_song(4)
    sheet = make_sheet_pdf([piece], paper="letter")
    document = pymupdf.open(stream=sheet.data)
    assert document.metadata["title"] == piece.title
    assert document.metadata["subject"].startswith("Fingerstyle guitar tab")
    assert [title for level, title, _ in document.get_toc() if level == 2] == [p.heading for p in find_sections(piece)]
    assert (round(document[0].rect.width), round(document[0].rect.height)) == (612, 792)
    for number, page in enumerate(document, start=1):
        assert f"{number} / {sheet.pages}" in page.get_text()
        assert "not medical advice" in page.get_text()
    assert sheet.data == make_sheet_pdf([piece], paper="letter").data

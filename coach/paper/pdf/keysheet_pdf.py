"""The keysheet as PDF: numerals over chords, a column for each degree of the scale, two keys or three to a page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from coach.music.keysheet import KeySheet, KeySheetEntry, renamed_roots, table_rows
from coach.paper.pdf.document import PdfSheet, print_pages
from coach.paper.pdf.glyphs import BOLD, ITALIC
from coach.paper.pdf.layout import Item, LayoutBlock, check_paper, draw_rule, fit_text, make_text, text_width, wrap_text
from coach.paper.pdf.page_flow import Document, flow_blocks

_LABEL, _ROW, _NAME = 78.0, 31.0, 12.0


def make_keysheet_pdf(sheets: Sequence[KeySheet], *, paper: str = "a4") -> PdfSheet:
    """The sheets of these keys. Raises BadInput for an unknown `paper` (a4, letter)."""
    return print_pages(keysheet_pages(sheets, paper=paper))


def keysheet_pages(sheets: Sequence[KeySheet], *, paper: str = "a4") -> Document:
    """The pages of `make_keysheet_pdf` as values."""
    paper = check_paper(paper)
    title = f"The chords of {sheets[0].key.title}" if len(sheets) == 1 else "The chords of every key"
    head = make_text("title", "title", 0, 17, title, 21, BOLD)
    blocks = [LayoutBlock((head,), 24, keep=True, marks=((0, title),))]
    blocks += [_key_block(sheet, text_width(paper), f"key{k}") for k, sheet in enumerate(sheets)]
    return flow_blocks(blocks, paper, title, "Triads, sevenths, dominants and borrowed chords by key")


def _key_block(sheet: KeySheet, room: float, group: str) -> LayoutBlock:
    """One key's table; it is never torn."""
    items: list[Item] = [make_text("heading", f"{group}-head", 0, 13, sheet.key.title, 14, BOLD)]
    items.append(
        make_text("about", f"{group}-sign", items[0].box.right + 10, 13, sheet.key.signature_text, 9.5, ITALIC)
    )
    items.append(draw_rule("rule", f"{group}-rule", 0, 20, room, 20, 0.8))
    column = (room - _LABEL) / 7
    y = 21.0
    last = ""
    for k, (name, line) in enumerate(table_rows(sheet)):
        if name != last and k:
            items.append(draw_rule("rule", f"{group}-rule{k}", 0, y + 2, room, y + 2, 0.3, 0.5))
        if name != last:
            items.append(fit_text("rowname", f"{group}-row{k}", 0, y + 24, name, 9, _LABEL - 8, ITALIC))
        last = name
        items += _draw_entries(line, column, y, f"{group}-{k}")
        y += _ROW
    renamed = renamed_roots(sheet)
    if renamed:
        said = wrap_text("about", f"{group}-said", f"As players say it: {', '.join(renamed)}.", 9, room, ITALIC)
        items += [line.moved(0, y + 3) for line in said]
        y += said[-1].box.bottom + 3
    return LayoutBlock(tuple(items), y, apart=22, marks=((1, sheet.key.title),))


def _draw_entries(line: Sequence[KeySheetEntry], column: float, y: float, group: str) -> Iterator[Item]:
    for entry in line:
        x = _LABEL + entry.column * column
        name = f"{group}-{entry.column}"
        yield fit_text("numeral", f"{name}-numeral", x, y + 12, entry.numeral, 8.5, column - 6)
        yield fit_text("chord", f"{name}-chord", x, y + 25, str(entry.chord), _NAME, column - 6, BOLD)

"""The keysheet and the practice record as PDF: what stands on them, and that nothing collides."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace

import pymupdf
import pytest

from coach.log.takes import VERDICTS
from coach.music.keys import KEYS, Key
from coach.music.keysheet import make_keysheet, make_keysheets
from coach.paper.pdf.document import make_sheet_pdf, sheet_pages
from coach.paper.pdf.keysheet_pdf import keysheet_pages, make_keysheet_pdf
from coach.paper.pdf.layout import Item, Text
from coach.paper.pdf.record_sheet import make_record_pdf, record_pages
from coach.plan.cautions import CAUTIONS
from tests.paper.pdf.pdf_faults import faults
from tests.paper.pdf.pdf_made import made_song
from tests.paper.pdf.test_pdf_read_back import check_page

PAPERS = ["a4", "letter"]


def placed(items: tuple[Item, ...], kind: str) -> list[Text]:
    """Texts of a kind in the order they were placed."""
    return [i for i in items if isinstance(i, Text) and i.kind == kind]


@pytest.mark.parametrize("paper", PAPERS)
def test_every_key_on_paper_without_a_collision(paper: str) -> None:
    """Thirty keys, each in the outline; every chord of each sheet stands there."""
    leaves = keysheet_pages(make_keysheets(), paper=paper)
    assert faults(leaves) == ()
    document = pymupdf.open(stream=make_keysheet_pdf(make_keysheets(), paper=paper).data)
    assert [title for level, title, _ in document.get_toc() if level == 2] == [key.title for key in KEYS]
    for page in document:
        check_page(page)
    chords = [i.text for page in leaves.pages for i in placed(page.items, "chord")]
    assert sorted(chords) == sorted(
        str(e.chord) for sheet in make_keysheets() for _, group in sheet.groups for e in group
    )


def test_a_dominant_stands_under_the_chord_it_leads_to() -> None:
    """G major: B7, V7/vi, in the column of Em; the numeral over its chord."""
    items = keysheet_pages([make_keysheet(Key.parse("G"))]).pages[0].items
    by_text = {i.text: i for i in placed(items, "chord")}
    numerals = {i.text: i for i in placed(items, "numeral")}
    assert by_text["B7"].x == by_text["Em"].x == numerals["V7/vi"].x
    assert numerals["V7/vi"].y < by_text["B7"].y


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("count", [0, 3, 23])
def test_a_record_to_fill_in(paper: str, count: int) -> None:
    """Each drill and each day is there, in each square the four verdicts; cautions on every page; nothing collides."""
    drills = [f"Outside in over a rather long list of chords, drill {k}" for k in range(count)]
    leaves = record_pages(drills, verdicts=VERDICTS, cautions=CAUTIONS, paper=paper)
    assert faults(leaves) == ()
    for page in leaves.pages:
        assert [i.text for i in placed(page.items, "head")] == ["Drill", *(f"Day {d}" for d in range(1, 8))]
        verdicts = [i.text for i in placed(page.items, "verdict")]
        assert verdicts == list(VERDICTS) * (len(verdicts) // 4)
        assert len(verdicts) >= 7 * 4 * 8
        said = " ".join(i.text for i in placed(page.items, "caution"))
        assert "Stop at once on pain" in said
        assert "doctor" in said
    text = " ".join(i.text for page in leaves.pages for i in placed(page.items, "drill"))
    assert text.count("drill") >= count


def test_the_same_sheet_has_the_same_bytes() -> None:
    """No clock and no chance in them."""
    sheet = make_keysheet(Key.parse("Ebm"))
    assert make_keysheet_pdf([sheet]).data == make_keysheet_pdf([sheet]).data
    blank = make_record_pdf(verdicts=VERDICTS, cautions=CAUTIONS)
    assert blank.data == make_record_pdf(verdicts=VERDICTS, cautions=CAUTIONS).data
    assert blank.pages == 1


def test_the_printer_is_loaded_only_to_print() -> None:
    """Importing the paper room's modules does not import the PDF library."""
    code = (
        "import sys, coach.paper.pdf.document, coach.paper.pdf.keysheet_pdf, coach.paper.pdf.record_sheet;"
        "sys.exit('reportlab' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_source_and_odd_titles() -> None:
    """Where a song comes from stands under its title; a title of any letters is printed on one page all the same."""
    piece = made_song(3)
    leaves = sheet_pages([piece], source="Words and tune of our own.")
    assert "Words and tune of our own." in [i.text for i in placed(leaves.pages[0].items, "info")]
    for title in ("", "x" * 300, "Ночь на переправе", "(unbalanced \\ <b>&amp;", "two\nlines"):
        odd = replace(piece, title=title)
        assert faults(sheet_pages([odd])) == ()
        shown = " ".join(pymupdf.open(stream=make_sheet_pdf([odd]).data)[0].get_text().split())
        assert " ".join(title.split())[:12] in shown

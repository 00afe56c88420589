"""Sixty made-up songs on two paper sizes, printed and read back: pages, collisions, and the time of a bar.

    python -m tests.bench.bench_paper [SONGS]
"""

from __future__ import annotations

import sys
from time import perf_counter

import pymupdf

from coach.paper.pdf.document import print_pages, sheet_pages
from coach.paper.pdf.endings import find_sections
from coach.paper.pdf.layout import PAPERS
from tests.paper.pdf.pdf_faults import faults
from tests.paper.pdf.pdf_made import made_song
from tests.paper.pdf.test_pdf_read_back import check_figures, check_page


def main() -> None:
    """Print the figures; exit code 1 when anything collides or reads back wrongly."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    pages = bars = wrong = 0
    laying = painting = 0.0
    for seed in range(count):
        piece = made_song(seed)
        written = [bar for part in find_sections(piece) for bar in part.bars]
        for paper in PAPERS:
            start = perf_counter()
            leaves = sheet_pages([piece], paper=paper)
            laid = perf_counter()
            sheet = print_pages(leaves)
            laying += laid - start
            painting += perf_counter() - laid
            pages, bars = pages + sheet.pages, bars + sheet.bars
            found = list(faults(leaves))
            document = pymupdf.open(stream=sheet.data)
            try:
                check_figures(document, written)
                for page in document:
                    check_page(page)
            except AssertionError as error:
                found.append(str(error))
            if found:
                wrong += 1
                print(f"song {seed} on {paper}: {found[0]}", file=sys.stderr)
    print(f"{count} songs x {len(PAPERS)} papers: {pages} pages, {bars} bars, {wrong} documents with a fault")
    print(f"laying out {1000 * laying / bars:.1f} ms a bar, painting {1000 * painting / pages:.1f} ms a page")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()

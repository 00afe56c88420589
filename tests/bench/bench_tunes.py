"""How much of real tunes lies on the top strings, and how long it takes: `python -m tests.bench.bench_tunes [N]`.

Takes the tunes of tests/folksongs.py and the first N of each of a few more books of music21's corpus (usual: 12).
Prints one line a tune and the share placed; asserts nothing.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from coach import shelf
from coach.errors import CoachError
from coach.picking.plucks import ACCENT
from coach.song.arranging.arranger import propose
from coach.song.leadsheet.lead_sheet import read_leadsheet
from coach.song.perform import perform
from tests.folksongs import NAMES, numbers, write_sheet

MORE = ("airdsAirs/book2.abc", "essenFolksong/erk10.abc", "essenFolksong/erk20.abc", "essenFolksong/boehme20.abc")


def main(first: int) -> None:
    """Place them all."""
    patterns, book = shelf.library().patterns, shelf.shapes()
    names = dict.fromkeys((*NAMES, *((file, k) for file in MORE for k in numbers(file)[:first])))
    whole = songs = asked = placed = own_key = 0
    spent = []
    with TemporaryDirectory() as folder:
        for file, number in names:
            try:
                song = read_leadsheet(write_sheet(file, number, Path(folder))).song
            except CoachError as error:
                print(f"{file} {number:4}  left out: {error}")
                continue
            start = time.perf_counter()
            arrangement = propose(song, patterns, book, melody=True)
            spent.append(time.perf_counter() - start)
            piece = perform(song, arrangement, patterns, book)
            want = {(b.number, n.beat, n.pitch.midi) for b in piece.bars for n in b.tune if not n.tied}
            have = {
                (b.number, p.beat, p.midi)
                for b in piece.bars
                for p in b.plucks
                if p.finger != "p" and p.stress == ACCENT
            }
            songs += 1
            asked += len(want)
            placed += len(want & have)
            whole += want == have
            own_key += (arrangement.shift or 0) % 12 == 0
            mark = "whole" if want == have else f"{len(want & have)} of {len(want)}"
            print(f"{file} {number:4}  {song.title[:34]:34}  {arrangement.key}+{arrangement.capo}  {mark}")
    print(f"\n{whole} of {songs} tunes whole ({own_key} in their own key); {placed} of {asked} notes", end="")
    print(f" ({placed / max(asked, 1):.1%})")
    print(f"arranging: mean {sum(spent) / len(spent):.2f} s, slowest {max(spent):.2f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 12)

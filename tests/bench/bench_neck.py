"""How long the search for shapes and the naming take: `python -m tests.bench.bench_neck`.

"cold" is a fresh process, "new chord" a chord not asked before when others were (ways to hold patterns are known by
then), "asked before" one whose answer is kept. The aim is 10 ms for all shapes of a chord, warm.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterable
from functools import partial

from coach.guitar import search
from coach.guitar.grip import Hand
from coach.guitar.naming import name_shape
from coach.guitar.search import find_grips
from coach.music.chords import QUALITIES, Chord
from coach.music.keys import KEYS

ROOTS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
CHORDS = [Chord.parse(root + quality) for quality in QUALITIES for root in ROOTS]


def _ms(deed: Callable[[], object]) -> float:
    start = time.perf_counter()
    deed()
    return (time.perf_counter() - start) * 1000


def _line(name: str, deeds: Iterable[Callable[[], object]]) -> None:
    times = sorted(_ms(deed) for deed in deeds)
    most, nearly = times[-1], times[len(times) * 95 // 100]
    print(f"{name:<44} median {statistics.median(times):7.3f}  95 % {nearly:7.3f}  most {most:7.3f} ms")


def main() -> None:
    """Print the table."""
    _line("all shapes of C, cold", [partial(find_grips, Chord.parse("C"))])
    _line("all shapes, first time round", [partial(find_grips, chord) for chord in CHORDS])
    for name, hand in (("usual hand", Hand()), ("wide hand with thumb", Hand(span_mm=105, thumb=True))):
        for chord in CHORDS:
            find_grips(chord, hand)
        search._all_grips.cache_clear()
        _line(f"all shapes, new chord, {name}", [partial(find_grips, chord, hand) for chord in CHORDS])
        _line(f"24 easiest, new chord, {name}", [partial(find_grips, chord, hand, limit=24) for chord in CHORDS])
    for chord in CHORDS[-20:]:
        find_grips(chord)
    _line("all shapes, asked before", [partial(find_grips, chord) for chord in CHORDS[-20:]])
    _line("easiest, up to fret 5", [partial(find_grips, chord, limit=1, max_fret=5) for chord in CHORDS])
    counts = sorted(len(find_grips(chord)) for chord in CHORDS)
    print(f"shapes of a chord: least {counts[0]}, median {counts[len(counts) // 2]}, most {counts[-1]}")
    shapes = [grip.shape for chord in CHORDS[:60] for grip in find_grips(chord, limit=5)]
    _line("readings of a shape in a key", [partial(name_shape, shape, key=KEYS[7]) for shape in shapes])


if __name__ == "__main__":
    main()

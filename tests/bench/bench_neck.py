"""How long the search for shapes and the naming take: `python -m tests.bench.bench_neck`.

"cold" is a fresh process, "new chord" a chord not asked before when others were (ways to hold patterns are known by
then), "asked before" one whose answer is kept. The aim is 10 ms for all shapes of a chord, warm.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

from coach.guitar import search
from coach.guitar.grip import Hand
from coach.guitar.naming import readings
from coach.guitar.search import grips
from coach.music.chords import QUALITIES, Chord
from coach.music.keys import KEYS

ROOTS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
CHORDS = [Chord.parse(root + quality) for quality in QUALITIES for root in ROOTS]


def _ms(deed: Callable[[], object]) -> float:
    start = time.perf_counter()
    deed()
    return (time.perf_counter() - start) * 1000


def _line(name: str, times: list[float]) -> None:
    times = sorted(times)
    print(f"{name:<42} median {statistics.median(times):7.3f}  95 % {times[len(times) * 95 // 100]:7.3f}  most {times[-1]:7.3f} ms")


def main() -> None:
    """Print the table."""
    _line("all shapes of C, cold", [_ms(lambda: grips(Chord.parse("C")))])
    _line("all shapes, first time round", [_ms(lambda c=c: grips(c)) for c in CHORDS])  # type: ignore[misc]
    for name, hand in (("usual hand", Hand()), ("wide hand with thumb", Hand(span_mm=105, thumb=True))):
        for chord in CHORDS:
            grips(chord, hand)
        search._all.cache_clear()
        _line(f"all shapes, new chord, {name}", [_ms(lambda c=c: grips(c, hand)) for c in CHORDS])  # type: ignore[misc]
        common = [Chord.parse(r + q) for r in ROOTS for q in ("", "m", "7", "m7", "maj7")]
        search._all.cache_clear()
        _line(f"  of these triads and sevenths, {name}", [_ms(lambda c=c: grips(c, hand)) for c in common])  # type: ignore[misc]
        _line(f"24 easiest, new chord, {name}", [_ms(lambda c=c: grips(c, hand, limit=24)) for c in CHORDS])  # type: ignore[misc]
    last = CHORDS[-20:]
    for chord in last:
        grips(chord)
    _line("all shapes, asked before", [_ms(lambda c=c: grips(c)) for c in last])  # type: ignore[misc]
    _line("easiest, up to fret 5", [_ms(lambda c=c: grips(c, limit=1, max_fret=5)) for c in CHORDS])  # type: ignore[misc]
    counts = sorted(len(grips(c)) for c in CHORDS)
    print(f"shapes of a chord: least {counts[0]}, median {counts[len(counts) // 2]}, most {counts[-1]}")
    shapes = [g.shape for c in CHORDS[:60] for g in grips(c, limit=5)]
    _line("readings of a shape in a key", [_ms(lambda s=s: readings(s, key=KEYS[7])) for s in shapes])  # type: ignore[misc]


if __name__ == "__main__":
    main()

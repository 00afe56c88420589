"""How long the left hand's choices take: `python -m tests.bench.bench_route`. Prints milliseconds; asserts nothing."""

import random
import time
from collections.abc import Callable
from statistics import median

from coach.guitar import search
from coach.guitar.grip import Hand
from coach.guitar.key_finder import find_keys
from coach.guitar.route import find_route
from coach.guitar.standins import find_standins
from coach.music.chords import Chord, read_bars
from coach.music.keys import Key
from coach.music.notes import Pitch

SONG = (
    "C | Am | F G | C | Em | Am D7 | Dm7 G7 | C Bb | "
    "F | Fm | C/G A7 | D7 | G | E7 | Am F | G7sus4 G7"
)
MELODY, VOICE = (Pitch.parse("C4"), Pitch.parse("E5")), (Pitch.parse("A2"), Pitch.parse("D4"))
ROOTS = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
QUALITIES = ("", "m", "7", "maj7", "m7", "sus4", "add9", "6")


def report(name: str, deed: Callable[[], object], times: int = 5, before: Callable[[], object] | None = None) -> None:
    """Median and worst of several runs; `before` is done ahead of each and not measured."""
    spent = []
    for _ in range(times):
        if before is not None:
            before()
        start = time.perf_counter()
        deed()
        spent.append((time.perf_counter() - start) * 1000)
    print(f"{name:58} median {median(spent):9.2f} ms   worst {max(spent):9.2f} ms   ({times} runs)")


def forget() -> None:
    """Let go of the answers the search keeps."""
    search._all_grips.cache_clear()
    search._easiest_grips.cache_clear()


def main() -> None:
    """All figures, one a line."""
    hand = Hand()
    song = [chord for bar in read_bars(SONG) * 4 for chord in bar][:64]
    chance = random.Random(64)
    roots = [Chord.parse(name).root for name in ROOTS]
    wild = [Chord(chance.choice(roots), chance.choice(QUALITIES)) for _ in range(64)]
    assert len(song) == 64
    find_route(song, hand)  # what is once worked out about fingerings is kept
    find_route(wild, hand)
    for name, chords in (("a song of 64 chords", song), ("64 chords at random", wild)):
        report(f"route, {name}, shapes known", lambda c=chords: find_route(c, hand))
        report(f"route, {name}, shapes searched anew", lambda c=chords: find_route(c, hand), before=forget)
        report(f"route, {name}, the hardest change first", lambda c=chords: find_route(c, hand, minimax=True))
        report(f"route, {name}, round and round", lambda c=chords: find_route(c, hand, loop=True), 3)
    bars = read_bars(SONG) * 2
    report("keys, 32 bars, 12 keys x 8 capos, shapes known", lambda: find_keys(bars, Key.parse("C")))
    report("keys, 32 bars, shapes searched anew", lambda: find_keys(bars, Key.parse("C")), before=forget)
    report("keys, with a voice", lambda: find_keys(bars, Key.parse("C"), melody=MELODY, voice=VOICE))
    hard, before = Chord.parse("F"), search.best_grip(Chord.parse("C"), hand)
    report("stand-ins for F after C, shapes known", lambda: find_standins(hard, hand, before=before))
    report("stand-ins for F after C, searched anew", lambda: find_standins(hard, hand, before=before), before=forget)


if __name__ == "__main__":
    main()

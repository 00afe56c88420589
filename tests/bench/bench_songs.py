"""How long songs take to read, change and perform, 4 bars against 400; and 5,000 spoilt files.

    python -m tests.bench.bench_songs [--cases N]

The files are spoilt at random from a fixed seed: each must be a song or give problems, and a change made to one that
can still be read must keep every line the player wrote outside of it.
"""

from __future__ import annotations

import argparse
import random
import statistics
import time
from collections import Counter
from collections.abc import Callable

from coach import places, shelf
from coach.errors import CoachError
from coach.song.files import edit_song
from coach.song.files.song_file import check_text, parse_song, read_text
from coach.song.perform import arrangement_of, perform

LETTERS = "\"'{}[]=,#.:|@\n \\abcGD019-+~é"


def text_of(bars: int) -> str:
    """A song of one part with this many bars, every one with two chords, words and tune."""
    rows = "".join(
        f'  {{ chords = "{a} {b}", words = "salt on|the|win-|dow", tune = "D4:1/2 E4:1/2 G4 A4 B4" }},  # bar {k}\n'
        for k, (a, b) in enumerate([("G", "Em"), ("C", "D"), ("Am", "F"), ("Bm", "Cm")] * (bars // 4))
    )
    head = 'title = "Long"\nkey = "G"\nmeter = "4/4"\ntempo = 90\n'
    return f'{head}[parts.Verse]\nbars = [\n{rows}]\n[arrangements.plain]\npattern = "outside-in"\n'


def seconds(deed: Callable[[], object], times: int = 7) -> float:
    """Median seconds of one go."""
    took = []
    for _ in range(times):
        began = time.perf_counter()
        deed()
        took.append(time.perf_counter() - began)
    return statistics.median(took)


def sizes() -> None:
    """Print what 4 and 400 bars take, and the ratio for a hundred times the bars."""
    patterns, book = shelf.library().patterns, shelf.shapes()
    print(f"{'':24}{'4 bars':>10}{'400 bars':>10}{'ratio':>8}")
    rows: dict[str, list[float]] = {}
    for bars in (4, 400):
        text = text_of(bars)
        song = parse_song(text, "long")
        arrangement = arrangement_of(song)
        deeds: dict[str, Callable[[], object]] = {
            "read": lambda text=text: parse_song(text, "long"),
            "perform": lambda song=song, way=arrangement: perform(song, way, patterns, book),
            "change a bar": lambda text=text: edit_song.set_bar(text, "Verse", 2, chords="C"),
            "put in a bar": lambda text=text: edit_song.insert_bar(text, "Verse", 2, chords="C"),
        }  # type: ignore[dict-item]
        for name, deed in deeds.items():
            rows.setdefault(name, []).append(seconds(deed))
    for name, (few, many) in rows.items():
        print(f"{name:24}{few * 1000:8.1f}ms{many * 1000:8.1f}ms{many / few:8.1f}")


def spoilt(text: str, dice: random.Random) -> str:
    """The text with one or two letters or lines put in, taken out or exchanged."""
    for _ in range(dice.randint(1, 2)):
        at = dice.randrange(len(text) + 1)
        kind = dice.randrange(4)
        if kind == 0:
            text = text[:at] + dice.choice(LETTERS) + text[at:]
        elif kind == 1:
            text = text[:at] + text[at + dice.randint(1, 8) :]
        elif kind == 2:
            lines = text.splitlines(keepends=True)
            lines.insert(dice.randrange(len(lines) + 1), dice.choice([*lines, "# mine\n"]))
            text = "".join(lines)
        else:
            text = text[:at] + dice.choice(["1", "[]", "{}", "true", '"', "nan", "0x" + "f" * 40]) + text[at + 1 :]
    return text


def fuzz(cases: int) -> None:
    """Spoil the shipped songs; count what came of it. Any other error than ours ends the run."""
    folder = places.shipped("shared") / "songs"
    texts = [read_text(path) for path in sorted(folder.glob("*.toml"))]
    patterns, book = shelf.library().patterns, shelf.shapes()
    came: Counter[str] = Counter()
    for number in range(cases):
        dice = random.Random(number)
        text = spoilt(dice.choice(texts), dice)
        checked = check_text(text, "x", patterns=patterns)
        if checked.song is None:
            assert checked.problems, number
            came["problems told"] += 1
            continue
        came["still a song"] += 1
        part = dice.choice(sorted(checked.song.parts))
        try:
            after = edit_song.set_bar(text, part, 0, chords="C", words="new")
            perform(checked.song, arrangement_of(checked.song), patterns, book)
        except CoachError:
            came["changed or played: refused"] += 1
            continue
        lost = Counter(text.splitlines()) - Counter(after.splitlines())
        assert sum(lost.values()) <= 1, (number, lost)
        came["changed, every other line kept"] += 1
    print(", ".join(f"{what}: {many}" for what, many in sorted(came.items())))


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--cases", type=int, default=5000)
    sizes()
    fuzz(asked.parse_args().cases)

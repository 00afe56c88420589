"""Songs made at random for the printed page: odd words, odd chords, every meter, capos; the same for the same seed."""

from __future__ import annotations

from fractions import Fraction
from random import Random

from coach.errors import BadInput
from coach.music.chords import Chord
from coach.music.keys import Key
from coach.music.meter import METERS, Meter
from coach.song.arrangement import Arrangement, PartWay
from coach.song.chart import HOLD, SILENT, SOUND, ChartBar, Part, Song, Word
from coach.song.perform import perform
from coach.song.piece import Piece
from tests.picking.shipped import BOOK, LIBRARY

CHORDS = [
    *("C", "G", "Am", "F", "Em", "Dm", "D", "E", "A", "Bm7b5", "F#m", "C#m7", "Bbmaj7", "G/B", "D/F#", "Fmaj7"),
    *("Cadd9", "G7sus4", "Ebmaj7", "F#m7b5", "B7", "Abm", "N"),
]
SYLLABLES = [
    *("a", "the", "lan-", "tern", "riv-", "er", "ferry-", "man", "o", "through", "slow-", "ly", "mm,", "I"),
    *("unfathomably-long-drawn", "landing—", "Brücken"),
]
PARTS = ["Intro", "Verse", "Chorus", "Bridge of a rather long and winding name", "Verse 2"]


def made_song(seed: int) -> Piece:
    """A song played by one of the shipped patterns of its meter, sung over a layer or not."""
    dice = Random(seed)
    while True:
        meter = dice.choice(list(METERS.values()))
        patterns = [p for p in LIBRARY.patterns.values() if p.meter == meter]
        if not patterns:
            continue
        names = dice.sample(PARTS, dice.randint(1, 4))
        parts = {name: _part(dice, name, meter) for name in names}
        order = tuple(names + dice.choices(names, k=dice.randint(0, 4)))
        way = PartWay(dice.choice(patterns).id)
        ways = {name: PartWay(dice.choice(patterns).id) for name in names if dice.random() < 0.4}
        singing, early = dice.choice(["thumb", "pinches", "beats", "full"]), dice.random() < 0.3
        arrangement = Arrangement("plain", way, ways, capo=dice.choice([0, 0, 2, 5]), singing=singing, early=early)
        title = dice.choice(["At the landing", "Ropes", "A very long title for a song of the last boat of the evening"])
        key = dice.choice(["C", "G", "Em", "Bb", "F#m"])
        song = Song(
            f"made-{seed}", title, Key.parse(key), meter, Fraction(dice.randint(40, 160)), parts, order,
            arrangements={"plain": arrangement},
        )  # fmt: skip
        try:
            return perform(song, arrangement, LIBRARY.patterns, BOOK, sing=singing if dice.random() < 0.7 else None)
        except BadInput:  # a chord that no hand holds, patterns without a common grid: another roll
            continue


def _part(dice: Random, name: str, meter: Meter) -> Part:
    bars = []
    same: ChartBar | None = None
    for number in range(dice.randint(1, 9)):
        if same is not None and dice.random() < 0.2:
            bars.append(same)
            continue
        same = _bar(dice, meter)
        if number == 0 and dice.random() < 0.2:
            same = ChartBar(((Fraction(0), None),), same.words[:1] and (Word(Fraction(0), "Oh"),), beats=Fraction(1))
        bars.append(same)
    tempo = Fraction(dice.randint(50, 120)) if dice.random() < 0.3 else None
    return Part(name, tuple(bars), tempo=tempo)


def _bar(dice: Random, meter: Meter) -> ChartBar:
    count = dice.choice([1, 1, 1, 2, meter.beats])
    names = [dice.choice(CHORDS) for _ in range(count)]
    chords = tuple(
        (Fraction(k * meter.beats, count), None if name == "N" else Chord.parse(name)) for k, name in enumerate(names)
    )
    words = ()
    if dice.random() < 0.65:
        grid = dice.choice([1, 2, 3, 4])
        places = sorted({Fraction(dice.randrange(meter.beats * grid), grid) for _ in range(dice.randint(1, 7))})
        words = tuple(Word(beat, dice.choice(SYLLABLES)) for beat in places)
    breaths = (Fraction(dice.randint(0, meter.beats)),) if words and dice.random() < 0.3 else ()
    way = dice.choice([SOUND] * 8 + [HOLD, SILENT])
    return ChartBar(chords, words, way=way, breaths=breaths)

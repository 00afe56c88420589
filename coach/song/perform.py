"""Performing a song: chart and arrangement become the piece, bar by bar as it is played.

How a bar finds its picking, first to last: lanes written for the bar, a pattern for the bar, the part's pattern for
the chord, the part's pattern, the arrangement's for the chord, the arrangement's. How a chord finds its shape: what
the bar says, the part, the arrangement, the song; else the usual shape of that chord if this hand can hold it, else
the easiest one (the same shape as in `coach show`). Within the part, and then within the arrangement, a stand-in
stands before a shape.

- A pattern of several bars begins anew with each part and goes on bar by bar; a pick-up does not count.
- A bar shorter than the meter's that begins its part is a pick-up and takes the last beats of the pattern's bar;
  any other short bar takes the first ones.
- Under a chord's own pattern only the slots that the chord lasts are played.
- A held bar plucks each of its chords once, thumb and fingers together, and lets it ring; a silent bar has no plucks.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from math import lcm

from coach.errors import BadInput, BadMusic, BadShape
from coach.guitar.bass import bass_of
from coach.guitar.choices import add_fingers, reachable_fingerings
from coach.guitar.grip import Hand
from coach.guitar.open_shapes import ShapeBook
from coach.guitar.search import best_grip
from coach.guitar.shape import Shape
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.chords import Chord
from coach.music.keys import KEYS, Key, interval_between
from coach.music.meter import Meter
from coach.music.notes import spell_pitch
from coach.music.rekey import plain_chord, rekey
from coach.music.tempo import FASTEST_BPM, SLOWEST_BPM
from coach.picking.layers import check_layer
from coach.picking.pattern import MOST_SLOTS, Pattern, difficulty, make_pattern_bar
from coach.picking.plucks import Pluck
from coach.picking.realise import HeldBar, Hold, realise
from coach.song.arrangement import NO_CHORD, Arrangement, BarWay, PartWay, pattern_under, read_stand_in
from coach.song.chart import HOLD, SILENT, ChartBar, Part, Song, TuneNote
from coach.song.piece import Piece, PieceBar

MOST_PLAYED_BARS = 4000
_NO_PART, _NO_BAR = PartWay(), BarWay()


def arrangement_of(song: Song, name: str = "") -> Arrangement:
    """The arrangement `name` of the song, its first for "". Raises BadInput that names the nearest one."""
    if not song.arrangements:
        raise BadInput(
            f"'{song.id}' has no arrangement yet",
            mend=f"`coach song arrange {song.id}` proposes two, or write [arrangements.plain] with a pattern",
        )
    if not name:
        return next(iter(song.arrangements.values()))
    if name not in song.arrangements:
        near = difflib.get_close_matches(name, song.arrangements, n=1)
        hint = f"did you mean {near[0]}?" if near else "it has " + ", ".join(song.arrangements)
        raise BadInput(f"'{song.id}' has no arrangement '{name}'", mend=hint)
    return song.arrangements[name]


def perform(
    song: Song,
    arrangement: Arrangement,
    patterns: Mapping[str, Pattern],
    book: ShapeBook,
    *,
    hand: Hand = Hand(),  # noqa: B008  (a frozen value)
    tuning: Tuning = STANDARD,
    sing: str | None = None,
    parts: Sequence[str] | None = None,
) -> Piece:
    """The song in this arrangement as it is played.

    sing   the layer that sounds under words; None lets all of it sound throughout
    parts  names of the parts to play, in order; None for the song's own order
    Raises BadInput (BadMusic, BadShape) that says in which part or bar, when a pattern is not known or does not fit
    the meter, when a shape cannot be held, or when key or tune do not fit.
    """
    order = song.order if parts is None else tuple(parts)
    for name in order:
        if name not in song.parts:
            near = difflib.get_close_matches(name, song.parts, n=1)
            hint = f"did you mean {near[0]}?" if near else "its parts are " + ", ".join(song.parts)
            raise BadInput(f"'{song.id}' has no part '{name}'", mend=hint)
    if sum(len(song.parts[name].bars) for name in order) > MOST_PLAYED_BARS:
        raise BadInput(f"'{song.id}' has more than {MOST_PLAYED_BARS} bars to play", mend="shorten its order")
    player = _Performer(song, arrangement, patterns, Shapes(song, arrangement, book, hand, tuning), tuning)
    written = {name: tuple(player.part(song.parts[name])) for name in dict.fromkeys(order)}
    bars: list[PieceBar] = []
    times: dict[str, int] = {}
    start = Fraction(0)
    for name in order:
        time = times[name] = times.get(name, -1) + 1
        for bar in written[name]:
            number = len(bars)
            plucks = tuple(_move_to_bar(number, p) for p in bar.plucks)
            bars.append(replace(bar, number=number, time=time, start=start, plucks=plucks))
            start += bar.beats
    key = arrangement.key or song.key
    piece = Piece(song.id, song.title, tuple(bars), arrangement.name, key, arrangement.capo, tuning, order)
    return piece if sing is None else piece.sung(check_layer(sing), early=arrangement.early)


def _move_to_bar(number: int, p: Pluck) -> Pluck:
    """The pluck in another bar (several times quicker than `replace`, and a long song has thousands)."""
    return Pluck(number, p.beat, p.sounds_at, p.string, p.fret, p.midi, p.finger, p.role, p.stress, p.why)


def sounding_key(song: Song, arrangement: Arrangement) -> Key:
    """The key that is heard: the hand's, the capo counted in, with the fewest accidentals."""
    key = arrangement.key or song.key
    if not arrangement.capo:
        return key
    same = [
        k for k in KEYS
        if k.minor == key.minor and k.tonic.pitch_class == (key.tonic.pitch_class + arrangement.capo) % 12
    ]  # fmt: skip
    return min(same, key=lambda k: (abs(k.signature), -k.signature))


def tune_shift(song: Song, arrangement: Arrangement) -> int:
    """Semitones from the tune as charted to the tune as it sounds; the nearest, from -6 to 5, where none is given.

    Raises BadMusic when the one given would leave the chords' key.
    """
    key = arrangement.key or song.key
    moved = key.tonic.pitch_class - song.key.tonic.pitch_class + arrangement.capo
    nearest = (moved + 6) % 12 - 6
    if arrangement.shift is None:
        return nearest
    if (arrangement.shift - nearest) % 12:
        fitting = sorted((nearest, nearest + (12 if nearest < 0 else -12)))
        raise BadMusic(
            f"a tune moved by {arrangement.shift} does not fit chords in {sounding_key(song, arrangement)}",
            where=f"arrangement {arrangement.name}",
            mend=f"shift = {fitting[0]} or {fitting[1]} fits",
        )
    return arrangement.shift


def move_tune(tune: Sequence[TuneNote], old: Key, new: Key, by: int) -> tuple[TuneNote, ...]:
    """The tune `by` semitones away, spelled as in the key it comes to stand in."""
    if not by and old == new:
        return tuple(tune)
    steps, semitones = interval_between(old.tonic, new.tonic)
    return tuple(replace(n, pitch=spell_pitch(n.pitch.midi + by, n.pitch.note.up(steps, semitones))) for n in tune)


def chords_in_key(bar: ChartBar, old: Key, new: Key) -> tuple[tuple[Fraction, Chord | None], ...]:
    """The bar's (beat, chord) in another key, under the names players use. Raises BadMusic for another mode."""
    if old == new:
        return bar.chords
    moved = rekey([chord for _, chord in bar.chords], old, new)
    return tuple((beat, chord and plain_chord(chord)) for (beat, _), chord in zip(bar.chords, moved, strict=True))


class Shapes:
    """Which shape the hand holds for a chord, by what the arrangement says and else by rule."""

    def __init__(self, song: Song, arrangement: Arrangement, book: ShapeBook, hand: Hand, tuning: Tuning) -> None:
        self.song, self.arrangement = song, arrangement
        self.book, self.hand, self.tuning = book, hand, tuning
        self.usual: dict[Chord, Shape] = {}

    def hold(self, beat: Fraction, chord: Chord | None, part: PartWay, bar: BarWay) -> Hold:
        """What is held for `chord` from `beat` on. Raises BadShape.

        A stand-in that is another chord goes by that chord's name; one that only adds a note to a shape is still
        told as the chord it stands for, with the bass of the shape it keeps. Where there is no chord, only what the bar
        itself gives under `N` is held.
        """
        if chord is None:
            shape = bar.shapes.get(NO_CHORD)
            if shape is None:
                return Hold(beat, None, None, None)
            return Hold(beat, None, add_fingers(shape), bass_of(shape, None, self.tuning))
        name = str(chord)
        if name in bar.shapes:
            return self._make_hold(beat, chord, bar.shapes[name])
        for way in (part, self.arrangement.way):
            if name in way.stand_in:
                other, shape = self._stand_in_shape(name, way.stand_in[name], part)
                kept = ":" in way.stand_in[name]
                return Hold(beat, chord if kept else other, shape, bass_of(shape, other, self.tuning))
            if name in way.shapes:
                return self._make_hold(beat, chord, way.shapes[name])
        return self._make_hold(beat, chord, self.song.shapes.get(name) or self._usual_shape(chord))

    def _make_hold(self, beat: Fraction, chord: Chord, shape: Shape) -> Hold:
        shape = add_fingers(shape)
        return Hold(beat, chord, shape, bass_of(shape, chord, self.tuning))

    def _stand_in_shape(self, name: str, recipe: str, part: PartWay) -> tuple[Chord, Shape]:
        """(the chord whose shape it is, the shape) of `Am7` or of `G:1@1`."""
        symbol, changes = read_stand_in(recipe)
        chord = Chord.parse(symbol)
        pins = (part.shapes, self.arrangement.way.shapes, self.song.shapes)
        shape = next((p[str(chord)] for p in pins if str(chord) in p), None) or self._usual_shape(chord)
        if not changes:
            return chord, add_fingers(shape)
        frets = list(shape.frets)
        for string, fret in changes:
            frets[6 - string] = fret
        held = reachable_fingerings(tuple(frets), self.hand, self.arrangement.capo)
        if not held:
            raise BadShape(
                f"{recipe} for {name} is {Shape(tuple(frets))}, which this hand cannot hold",
                mend="put the added note on another string, or pin a shape",
            )
        return chord, Shape(tuple(frets), held[0].fingers)

    def _usual_shape(self, chord: Chord) -> Shape:
        if chord not in self.usual:
            self.usual[chord] = self._find_usual_shape(chord)
        return self.usual[chord]

    def _find_usual_shape(self, chord: Chord) -> Shape:
        capo = self.arrangement.capo
        try:
            known = self.book.shapes(chord, self.tuning)
        except BadShape:  # not a chord, or a tuning, of the book's
            known = ()
        for shape in known:
            if reachable_fingerings(shape.frets, self.hand, capo):
                return shape
        return best_grip(chord, self.hand, self.tuning, capo=capo).shape


class _Performer:
    """One arrangement being played through; bars that are alike are worked out once."""

    def __init__(
        self, song: Song, arrangement: Arrangement, patterns: Mapping[str, Pattern], shapes: Shapes, tuning: Tuning
    ) -> None:
        self.song, self.arrangement, self.patterns, self.shapes = song, arrangement, patterns, shapes
        self.tuning = tuning
        self.key = arrangement.key or song.key
        self.heard_key = sounding_key(song, arrangement)
        self.by = tune_shift(song, arrangement)
        self.cycle = lcm(1, *(len(p.bars) for p in patterns.values()))
        self.alike: dict[tuple[object, ...], tuple[HeldBar, int, tuple[Pluck, ...]]] = {}
        self.known: dict[tuple[str, int, str, int, HeldBar], tuple[Pluck, ...]] = {}

    def part(self, part: Part) -> Iterator[PieceBar]:
        """The bars of a part, as played the first time from bar 0 and beat 0 on."""
        way = self.arrangement.parts.get(part.name, _NO_PART)
        meter = part.meter or self.song.meter
        bpm = self.bpm(part)
        pick_up = bool(part.bars) and part.bars[0].beats is not None and part.bars[0].beats < meter.beats
        for number, bar in enumerate(part.bars):
            try:
                yield self.bar(bar, number, way, meter, bpm, part.name, pick_up)
            except BadInput as error:
                raise error.at(f"part {part.name}, bar {number + 1}") from None

    def bpm(self, part: Part) -> Fraction:
        """The part's tempo; where the arrangement has one of its own, all parts are faster or slower alike."""
        bpm = part.tempo or self.song.tempo
        if self.arrangement.tempo is not None:
            bpm = bpm * self.arrangement.tempo / self.song.tempo
        return min(max(bpm, Fraction(SLOWEST_BPM)), Fraction(FASTEST_BPM))

    def bar(
        self, bar: ChartBar, number: int, way: PartWay, meter: Meter, bpm: Fraction, part: str, pick_up: bool
    ) -> PieceBar:
        own = way.bars.get(number, _NO_BAR)
        beats = Fraction(meter.beats) if bar.beats is None else bar.beats
        turn = number - pick_up
        first = pick_up and number == 0
        # Reading gives bars with the same chords one and the same value; by its identity they are found quickly.
        asked = (id(bar.chords), bar.way, beats, part, turn % self.cycle, first, number if own is not _NO_BAR else -1)
        if asked not in self.alike:
            self.alike[asked] = self.play_hands(bar, number, part, own, way, meter, beats, turn, first)
        held, slots, plucks = self.alike[asked]
        return PieceBar(
            number=number, part=part, part_bar=number, time=0, start=Fraction(0), meter=meter, beats=beats,
            slots=slots, bpm=bpm, held=held, plucks=plucks, words=bar.words,
            tune=move_tune(bar.tune, self.song.key, self.heard_key, self.by), breaths=bar.breaths,
            way=bar.way,
        )  # fmt: skip

    def play_hands(
        self,
        bar: ChartBar,
        number: int,
        part: str,
        own: BarWay,
        way: PartWay,
        meter: Meter,
        beats: Fraction,
        turn: int,
        first: bool,
    ) -> tuple[HeldBar, int, tuple[Pluck, ...]]:
        """What both hands do in a bar: what is held, the grid, the plucks."""
        charted = chords_in_key(bar, self.song.key, self.key)
        held = HeldBar(tuple(self.shapes.hold(beat, chord, way, own) for beat, chord in charted))
        picked = [self.find_pattern(own, part, number, chord, meter) for _, chord in charted]
        slots = lcm(*(p.slots for p in picked))
        if slots > MOST_SLOTS:
            raise BadInput(
                f"the patterns {' and '.join(dict.fromkeys(p.id for p in picked))} share no grid",
                mend="give the chords of one bar patterns with the same slots",
            )
        if bar.way == SILENT:
            return held, slots, ()
        if bar.way == HOLD:
            return held, slots, tuple(self.pluck_together(held))
        offset = meter.beats - beats if first else Fraction(0)
        return held, slots, tuple(self.pick_plucks(held, picked, turn, beats, offset))

    def find_pattern(self, own: BarWay, part: str, number: int, chord: Chord | None, meter: Meter) -> Pattern:
        """The pattern under `chord`, by precedence. Raises BadInput when it is unknown or of another meter."""
        if own.lanes:
            slots = own.slots
            lanes = make_pattern_bar(own.lanes, slots)
            return Pattern("lanes of its own", "", "", meter, slots, (lanes,))
        wanted = pattern_under(self.arrangement, part, number, str(chord))
        if wanted not in self.patterns:
            near = difflib.get_close_matches(wanted, self.patterns, n=1)
            hint = f"did you mean {near[0]}?" if near else "`coach patterns` lists them"
            raise BadInput(f"there is no pattern '{wanted}'", mend=hint)
        pattern = self.patterns[wanted]
        if pattern.meter != meter:
            raise BadInput(
                f"it is in {meter} and the pattern {wanted} in {pattern.meter}", mend=self.fitting_hint(pattern, meter)
            )
        return pattern

    def fitting_hint(self, pattern: Pattern, meter: Meter) -> str:
        """What might be meant instead: the pattern of that meter that asks about as much."""
        asked = difficulty(pattern)
        same = [p for p in self.patterns.values() if p.meter == meter]
        if not same:
            return f"make a pattern in {meter}"
        near = min(same, key=lambda p: (abs(difficulty(p) - asked), p.id))
        return f"give it a pattern in {meter}, like {near.id}"

    def pick_plucks(
        self, held: HeldBar, patterns: Sequence[Pattern], turn: int, beats: Fraction, offset: Fraction
    ) -> Iterator[Pluck]:
        """The plucks of a bar: each chord's pattern while that chord lasts."""
        first, *rest = held.holds
        moved = HeldBar((first, *(replace(h, beat=h.beat + offset) for h in rest)))
        ends = [*(h.beat for h in rest), beats]
        for hold, pattern, end in zip(held.holds, patterns, ends, strict=True):
            for pluck in self.realise_bar(pattern, turn, moved):
                at = pluck.beat - offset
                if hold.beat <= at < end:
                    yield replace(pluck, beat=at, sounds_at=pluck.sounds_at - offset) if offset else pluck

    def realise_bar(self, pattern: Pattern, turn: int, held: HeldBar) -> tuple[Pluck, ...]:
        number = turn % len(pattern.bars)
        # A pattern of its own lanes has no id that tells it from another bar's.
        name = pattern.id if pattern.id in self.patterns else str(pattern.bars)
        asked = (name, pattern.slots, str(pattern.meter), number, held)
        if asked not in self.known:
            alone = replace(pattern, bars=(pattern.bars[number],))
            self.known[asked] = realise(alone, [held], tuning=self.tuning, capo=self.arrangement.capo)
        return self.known[asked]

    def pluck_together(self, held: HeldBar) -> Iterator[Pluck]:
        """Each chord once, thumb on its root and fingers on the strings above, at the moment it begins."""
        for hold in held.holds:
            alone = HeldBar((replace(hold, beat=Fraction(0)),))
            for pluck in realise(_TOGETHER, [alone], tuning=self.tuning, capo=self.arrangement.capo):
                yield replace(pluck, beat=hold.beat, sounds_at=hold.beat)


_TOGETHER = Pattern(
    "together", "", "", Meter(4, 4), 1, (make_pattern_bar([("p", "r"), ("i", "3"), ("m", "2"), ("a", "1")], 1),)
)

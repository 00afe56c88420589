"""Exact note values: a bar's plucks as two voices of written notes that fill the bar to the last fraction.

A guitar rings on, so a note lasts until the next one of its voice or to the bar's end (common practice, no
source): the thumb is one voice (stems down), the fingers another (stems up). Each length is then spelled in
plain and dotted values that let the beats be seen, with ties where one value will not do, and in tuplets where
the notes do not fall on halves, quarters, eighths of a beat:

    count    1   &   2   &   3   &   4   &
    thumb    quarter quarter quarter quarter
    fingers  rest·8  quarter eighth-tied-to-eighth ...   plucked after 1, 2 and 3

Positions are felt beats from the bar line, lengths are quarter notes (MusicXML's and MIDI's unit).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import groupby, pairwise
from math import ceil, floor, lcm

from coach.music.meter import Meter
from coach.picking.plucks import Pluck
from coach.song.chart import TuneNote
from coach.song.piece import PieceBar

# Names of MusicXML 4.0 (note-type-value) with their lengths in quarter notes; the shortest bar grid is 64 slots.
_NAMES = ("whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th", "512th", "1024th")
TYPES = {name: Fraction(4, 2**k) for k, name in enumerate(_NAMES)}
_BY_LENGTH = {length: (name, 0) for name, length in TYPES.items()} | {
    length * 3 / 2: (name, 1) for name, length in TYPES.items()
}
_FLAGS = {name: k - 2 for k, name in enumerate(_NAMES) if k > 2}  # beams an eighth and shorter notes need


@dataclass(frozen=True)
class Tuplet:
    """`parts` notes of a `unit` in the time of `normal` of them: 3 eighths in the time of 2."""

    parts: int
    normal: int
    unit: str


@dataclass(frozen=True)
class Written:
    """One written note, chord or rest (no plucks, no tune, nothing said) of a voice.

    beat         where it begins, in felt beats from the bar line
    length       what it lasts, in quarter notes (tuplets counted in)
    type, dots   its note value, `eighth` with 0 or 1 dots
    tuplet       the group it belongs to; `edge` is "start" or "stop" at its ends
    tied_start   goes on in the next one; tied_stop: goes on from the one before, so it is not plucked again
    plucks       what sounds, lowest string first; tune: the same for a line that is sung
    said         a word begins here whose pitch is not known
    beams        per beam, the first the one next to the heads: begin, continue, end, forward hook, backward hook
    bar_rest     a rest that stands for the whole bar, whatever its meter
    """

    beat: Fraction
    length: Fraction
    type: str
    dots: int = 0
    tuplet: Tuplet | None = None
    edge: str = ""
    tied_start: bool = False
    tied_stop: bool = False
    plucks: tuple[Pluck, ...] = ()
    tune: TuneNote | None = None
    said: bool = False
    beams: tuple[str, ...] = ()
    bar_rest: bool = False

    @property
    def rest(self) -> bool:
        """True when nothing sounds."""
        return not (self.plucks or self.tune or self.said)


@dataclass(frozen=True)
class _Event:
    """What is to be written from `start` to `end`, in felt beats from the bar line."""

    start: Fraction
    end: Fraction
    plucks: tuple[Pluck, ...] = ()
    tune: TuneNote | None = None
    said: bool = False
    from_before: bool = False  # tied to what came before it, and to what comes after
    goes_on: bool = False

    @property
    def rest(self) -> bool:
        return not (self.plucks or self.tune or self.said)


def voices(
    bar: PieceBar, *, before: PieceBar | None = None, after: PieceBar | None = None
) -> tuple[tuple[Written, ...], tuple[Written, ...]]:
    """What sounds in a bar as written notes: (thumb, fingers); a voice that has nothing to play is ().

    Where both have nothing the fingers' voice is one whole-bar rest. Lengths of a voice sum to the bar exactly.
    Given the bars `before` and `after`, notes that ring on over a bar line are tied over it: those of a voice that
    begins the next bar later than its first beat, where the hand still holds them.
    """
    thumb, fingers = _split(bar)
    if not thumb and not fingers:
        return (), (whole_rest(bar),)
    befores = _split(before) if before else ((), ())
    afters = _split(after) if after else ((), ())
    lines = []
    for own, last, following in zip((thumb, fingers), befores, afters, strict=True):
        lines.append(_ringing(bar, own, _ring_over(last, own, bar), bool(_ring_over(own, following, after))))
    return lines[0], lines[1]


def _split(bar: PieceBar) -> tuple[tuple[Pluck, ...], tuple[Pluck, ...]]:
    sounding = bar.sounding
    return tuple(p for p in sounding if p.bass), tuple(p for p in sounding if not p.bass)


def _ring_over(last: Sequence[Pluck], own: Sequence[Pluck], bar: PieceBar | None) -> tuple[Pluck, ...]:
    """The plucks of the bar before that ring on into `bar`, whose own plucks of the same voice are `own`."""
    if not last or not own or bar is None or min(p.beat for p in own) == 0:
        return ()
    end = max(p.beat for p in last)
    ringing = tuple(sorted((p for p in last if p.beat == end), key=_place))
    shape = bar.held.at(Fraction(0)).shape
    return ringing if shape is not None and all(shape.fret(p.string) == p.fret for p in ringing) else ()


def tune_line(bar: PieceBar, *, goes_on: bool = False) -> tuple[Written, ...]:
    """The bar's tune as written notes with rests between, one whole-bar rest where it has none.

    `goes_on` says that its last note is held over the bar line.
    """
    events, at = [], Fraction(0)
    notes = sorted(bar.tune, key=lambda n: n.beat)
    for k, note in enumerate(notes):
        start, end = max(note.beat, at), min(note.beat + note.length, bar.beats)
        if end <= start:
            continue
        if start > at:
            events.append(_Event(at, start))
        held = notes[k + 1].tied if k + 1 < len(notes) else goes_on
        events.append(_Event(start, end, tune=note, from_before=note.tied, goes_on=held))
        at = end
    if not events:
        return (whole_rest(bar),)
    if at < bar.beats:
        events.append(_Event(at, bar.beats))
    return _written(events, bar.meter, bar.offset)


def spoken_line(bar: PieceBar) -> tuple[Written, ...]:
    """The rhythm of the bar's words where no tune is known: each lasts until the next one or to the bar's end."""
    starts = sorted({w.beat for w in bar.words if w.beat < bar.beats})
    if not starts:
        return (whole_rest(bar),)
    ends = [*starts[1:], bar.beats]
    events = [_Event(start, end, said=True) for start, end in zip(starts, ends, strict=True)]
    if starts[0] > 0:
        events.insert(0, _Event(Fraction(0), starts[0]))
    return _written(events, bar.meter, bar.offset)


def whole_rest(bar: PieceBar) -> Written:
    """A rest that stands for all of the bar."""
    return Written(Fraction(0), bar.beats * bar.meter.quarters_per_beat, "whole", bar_rest=True)


def lead(bar: PieceBar) -> Fraction:
    """Where in the meter a bar begins, in felt beats: a pick-up bar is the end of a full one, so above 0."""
    return bar.offset


def _ringing(bar: PieceBar, plucks: Sequence[Pluck], before: tuple[Pluck, ...], goes_on: bool) -> tuple[Written, ...]:
    if not plucks:
        return ()
    at = [(beat, tuple(group)) for beat, group in groupby(sorted(plucks, key=_place), key=lambda p: p.beat)]
    ends = [beat for beat, _ in at[1:]] + [bar.beats]
    events = [_Event(beat, end, group) for (beat, group), end in zip(at, ends, strict=True)]
    if events[0].start > 0:
        events.insert(0, _Event(Fraction(0), events[0].start, before, from_before=bool(before)))
    events[-1] = replace(events[-1], goes_on=goes_on)
    return _written(events, bar.meter, bar.offset)


def _place(pluck: Pluck) -> tuple[Fraction, int]:
    return pluck.beat, -pluck.string


def _written(events: Sequence[_Event], meter: Meter, offset: Fraction) -> tuple[Written, ...]:
    """Events without a gap as written notes; inside, positions count from where the meter's full bar begins."""
    moved = [replace(e, start=e.start + offset, end=e.end + offset) for e in events]
    groups = _tuplets(moved, meter)
    notes: list[Written] = []
    for event in moved:
        pieces: list[Written] = []
        for start, end, tuplet in _cut(event, groups):
            for s, e in _spell(start, end, meter, tuplet, event.rest):
                quarters = (e - s) * meter.quarters_per_beat
                shown = quarters if tuplet is None else quarters * tuplet.parts / tuplet.normal
                name, dots = _BY_LENGTH[shown]
                value = Written(s, quarters, name, dots, tuplet, plucks=event.plucks, tune=event.tune, said=event.said)
                pieces.append(value)
        last = len(pieces) - 1
        for k, piece in enumerate(pieces):
            onward, back = k < last or event.goes_on, k > 0 or event.from_before
            notes.append(replace(piece, tied_start=onward and not event.rest, tied_stop=back and not event.rest))
    notes = _edged(notes, groups)
    return tuple(replace(n, beat=n.beat - offset) for n in _beamed(notes, groups))


# Tuplets


_Group = tuple[Fraction, Fraction, Tuplet]


def _natural(beat: Fraction, meter: Meter) -> bool:
    """Whether a place is reached by halving: of the beat, or of the three eighths of a compound beat."""
    denominator = (beat * 3 if meter.compound else beat).denominator
    return denominator & (denominator - 1) == 0


def _tuplets(events: Sequence[_Event], meter: Meter) -> tuple[_Group, ...]:
    """The stretches that need a tuplet, as (start, end, tuplet) in beats.

    One beat each; two beats or the whole bar where the notes divide those into equal parts of an odd number, so
    that fewer of them are tied (three over two beats, five over a bar).
    """
    places = sorted({p for e in events for p in (e.start, e.end)})
    if all(_natural(p, meter) for p in places):
        return ()
    best: tuple[int, tuple[_Group, ...]] | None = None
    for beats in sorted({1, 2 if meter.beats % 2 == 0 else 1, meter.beats}):
        groups = _grouped(places, meter, beats)
        if groups is None or (beats > 1 and any(not g[2].parts % 2 for g in groups)):
            continue
        cuts = sum(len(list(_cut(e, groups))) for e in events)
        if best is None or cuts < best[0]:
            best = cuts, groups
    assert best is not None  # one beat each always serves
    return best[1]


def _grouped(places: Sequence[Fraction], meter: Meter, beats: int) -> tuple[_Group, ...]:
    groups = []
    for start in range(floor(places[0] / beats) * beats, ceil(places[-1]), beats):
        inside = [p for p in places if start < p < start + beats]
        if all(_natural(p, meter) for p in inside):
            continue
        parts = lcm(*((Fraction(p - start) / beats).denominator for p in inside))
        groups.append((Fraction(start), Fraction(start + beats), _tuplet(parts, beats * meter.quarters_per_beat)))
    return tuple(groups)


def _tuplet(parts: int, quarters: Fraction) -> Tuplet:
    """`parts` in the time of as many plain values as fit into `quarters`, at most `parts` where they can be."""
    normal = quarters.numerator
    while normal % 2 == 0:
        normal //= 2
    while normal * 2 <= parts:
        normal *= 2
    unit = quarters / normal
    return Tuplet(parts, normal, next(name for name, length in TYPES.items() if length == unit))


def _cut(event: _Event, groups: Sequence[_Group]) -> list[tuple[Fraction, Fraction, Tuplet | None]]:
    """An event cut where a tuplet begins or ends inside it; a tuplet it covers whole is none to it."""
    inner = [g for g in groups if g[0] < event.end and g[1] > event.start]
    inner = [g for g in inner if not (event.start <= g[0] and g[1] <= event.end)]
    edges = {event.start, event.end} | {p for g in inner for p in g[:2] if event.start < p < event.end}
    pieces: list[tuple[Fraction, Fraction, Tuplet | None]] = []
    for start, end in pairwise(sorted(edges)):
        pieces.append((start, end, next((t for a, b, t in inner if a <= start and end <= b), None)))
    return pieces


def _edged(notes: Sequence[Written], groups: Sequence[_Group]) -> list[Written]:
    """Mark the first and the last note of every tuplet."""
    done = list(notes)
    for start, end, _ in groups:
        inside = [k for k, n in enumerate(done) if n.tuplet is not None and start <= n.beat < end]
        for k, edge in ((inside[0], "start"), (inside[-1], "stop")) if len(inside) > 1 else ():
            done[k] = replace(done[k], edge=edge)
    return done


# Values


@lru_cache(maxsize=4096)
def _spell(
    start: Fraction, end: Fraction, meter: Meter, tuplet: Tuplet | None, rest: bool
) -> tuple[tuple[Fraction, Fraction], ...]:
    """The fewest values that fill start..end and let the beats be seen, as (start, end)."""
    scale = meter.quarters_per_beat * (1 if tuplet is None else Fraction(tuplet.parts, tuplet.normal))
    # The finest step at which a value could begin or end; whole beats are among the steps.
    fine = lcm((start * scale).denominator, (end * scale).denominator, scale.denominator)
    first, last = int(start * scale * fine), int(end * scale * fine)
    best: dict[int, tuple[tuple[int, int, int], tuple[tuple[Fraction, Fraction], ...]]] = {first: ((0, 0, 0), ())}
    for at in range(first + 1, last + 1):
        for before in range(first, at):
            if before not in best or Fraction(at - before, fine) not in _BY_LENGTH:
                continue
            s, e = Fraction(before) / scale / fine, Fraction(at) / scale / fine
            if not _may_stand(s, e, meter, tuplet, rest):
                continue
            (count, off, longest), so_far = best[before]
            # Of two ways with as many values: cuts on beats first, then the longer value later.
            cost = count + 1, off + (s.denominator > 1 and before > first), longest + (last - at) * (at - before)
            if at not in best or cost < best[at][0]:
                best[at] = cost, (*so_far, (s, e))
    return best[last][1]


def _may_stand(start: Fraction, end: Fraction, meter: Meter, tuplet: Tuplet | None, rest: bool) -> bool:
    """Whether one value may fill start..end (beats) and the eye still sees the beats (common practice, no source)."""
    length = (end - start) * meter.quarters_per_beat
    if tuplet is not None:
        _, dots = _BY_LENGTH[length * tuplet.parts / tuplet.normal]
        return not (rest and dots)
    _, dots = _BY_LENGTH[length]
    plain = length * 2 / 3 if dots else length
    if end <= floor(start) + 1:  # inside one beat
        within = (start - floor(start)) * meter.quarters_per_beat
        if meter.compound and length == meter.quarters_per_beat:
            return True
        return within % plain == 0 and not dots if rest else within % (plain / 2) == 0
    on_beat, to_beat = start.denominator == 1, end.denominator == 1
    middle = _middle(meter)
    crosses_middle = middle is not None and start < middle < end
    if on_beat and to_beat:
        if rest:
            return (end - start).numerator % 2 == 0 and start % (end - start) == 0 and meter.beats % 2 == 0
        return not crosses_middle or meter.beats % 2 == 0
    if rest or meter.compound or crosses_middle:
        return False
    # A dotted quarter from a beat on, or a beat's length from half to half: two figures everyone reads.
    return end - start == (Fraction(3, 2) if on_beat else 1) and (on_beat or start.denominator == 2)


def _middle(meter: Meter) -> int | None:
    """The beat that must be seen: the third of four; in five the fourth (3 + 2)."""
    return {4: 2, 5: 3}.get(meter.beats)


# Beams


def _beamed(notes: Sequence[Written], groups: Sequence[_Group]) -> list[Written]:
    """Notes shorter than a quarter joined beat by beat, or over a tuplet."""
    done = list(notes)

    def together(k: int) -> tuple[Fraction, bool]:
        note = done[k]
        start = next((a for a, b, _ in groups if note.tuplet and a <= note.beat < b), Fraction(floor(note.beat)))
        return start, not note.rest and note.type in _FLAGS

    for (_, flagged), run in groupby(range(len(done)), key=together):
        ks = list(run)
        if flagged and len(ks) > 1:
            flags = [_FLAGS[done[k].type] for k in ks]
            for place, k in enumerate(ks):
                done[k] = replace(done[k], beams=tuple(_beam(flags, place, n) for n in range(1, flags[place] + 1)))
    return done


def _beam(flags: Sequence[int], place: int, level: int) -> str:
    """What beam `level` does on the note at `place` of a run whose notes need so many `flags`."""
    before = place > 0 and flags[place - 1] >= level
    after = place + 1 < len(flags) and flags[place + 1] >= level
    if before and after:
        return "continue"
    if before or after:
        return "end" if before else "begin"
    return "backward hook" if place else "forward hook"

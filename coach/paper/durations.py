"""Written notes: a bar's plucks, tune or words as voices of exact note values that fill the bar.

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
from itertools import groupby
from math import floor, lcm

from coach.music.meter import Meter
from coach.paper.note_values import TYPES as TYPES
from coach.paper.note_values import VALUES, Group, Tuplet, cut_at_tuplets, find_tuplets, split_into_values
from coach.picking.plucks import Pluck
from coach.song.chart import TuneNote
from coach.song.piece import PieceBar

_FLAGS = {name: k - 2 for k, name in enumerate(TYPES) if k > 2}  # beams an eighth and shorter notes need
_FINEST = 192  # equal parts of a beat


@dataclass(frozen=True)
class WrittenNote:
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
    spoken: bool = False
    beams: tuple[str, ...] = ()
    bar_rest: bool = False

    @property
    def rest(self) -> bool:
        """True when nothing sounds."""
        return not (self.plucks or self.tune or self.spoken)


@dataclass(frozen=True)
class _Event:
    """What is to be written from `start` to `end`, in felt beats from the bar line."""

    start: Fraction
    end: Fraction
    plucks: tuple[Pluck, ...] = ()
    tune: TuneNote | None = None
    spoken: bool = False
    from_before: bool = False  # tied to what came before it, and to what comes after
    goes_on: bool = False

    @property
    def rest(self) -> bool:
        return not (self.plucks or self.tune or self.spoken)


def write_voices(
    bar: PieceBar, *, before: PieceBar | None = None, after: PieceBar | None = None
) -> tuple[tuple[WrittenNote, ...], tuple[WrittenNote, ...]]:
    """What sounds in a bar as written notes: (thumb, fingers); a voice that has nothing to play is ().

    Where both have nothing the fingers' voice is a rest. Lengths of a voice sum to the bar exactly.
    Given the bars `before` and `after`, notes that ring on over a bar line are tied over it: those of a voice that
    begins the next bar later than its first beat, where the hand still holds them.
    """
    thumb, fingers = _split_voices(bar)
    if not thumb and not fingers:
        return (), _write_rests(bar)
    befores = _split_voices(before) if before else ((), ())
    afters = _split_voices(after) if after else ((), ())
    lines = []
    for own, last, following in zip((thumb, fingers), befores, afters, strict=True):
        lines.append(
            _write_ringing(
                bar, own, _plucks_ringing_over(last, own, bar), bool(_plucks_ringing_over(own, following, after))
            )
        )
    return lines[0], lines[1]


def _split_voices(bar: PieceBar) -> tuple[tuple[Pluck, ...], tuple[Pluck, ...]]:
    sounding = bar.sounding
    return tuple(p for p in sounding if p.bass), tuple(p for p in sounding if not p.bass)


def _plucks_ringing_over(last: Sequence[Pluck], own: Sequence[Pluck], bar: PieceBar | None) -> tuple[Pluck, ...]:
    """The plucks of the bar before that ring on into `bar`, whose own plucks of the same voice are `own`."""
    first = min((p.beat for p in own), default=Fraction(0))
    if not last or bar is None or first == 0:
        return ()
    end = max(p.beat for p in last)
    ringing = tuple(sorted((p for p in last if p.beat == end), key=_beat_and_string))
    taken = {p.string for p in bar.sounding if p.beat < first}
    shape = bar.held.at(Fraction(0)).shape
    held = shape is not None and all(shape.fret(p.string) == p.fret and p.string not in taken for p in ringing)
    return ringing if held else ()


def write_tune(bar: PieceBar, *, goes_on: bool = False) -> tuple[WrittenNote, ...]:
    """The bar's tune as written notes with rests between, one whole-bar rest where it has none.

    `goes_on` says that its last note is held over the bar line.
    """
    events, at = [], Fraction(0)
    notes = sorted(bar.tune, key=lambda n: n.beat)
    near = _writable_places([place for n in notes for place in (n.beat, n.beat + n.length)])
    for k, note in enumerate(notes):
        start, end = max(near[note.beat], at), min(near[note.beat + note.length], bar.beats)
        if end <= start:
            continue
        if start > at:
            events.append(_Event(at, start))
        held = notes[k + 1].tied if k + 1 < len(notes) else goes_on
        events.append(_Event(start, end, tune=note, from_before=note.tied, goes_on=held))
        at = end
    if not events:
        return _write_rests(bar)
    if at < bar.beats:
        events.append(_Event(at, bar.beats))
    return _write_events(events, bar.meter, bar.offset)


def write_word_rhythm(bar: PieceBar) -> tuple[WrittenNote, ...]:
    """The rhythm of the bar's words where no tune is known: each lasts until the next one or to the bar's end."""
    starts = sorted({b for b in _writable_places([w.beat for w in bar.words]).values() if b < bar.beats})
    if not starts:
        return _write_rests(bar)
    ends = [*starts[1:], bar.beats]
    events = [_Event(start, end, spoken=True) for start, end in zip(starts, ends, strict=True)]
    if starts[0] > 0:
        events.insert(0, _Event(Fraction(0), starts[0]))
    return _write_events(events, bar.meter, bar.offset)


def _writable_places(beats: Sequence[Fraction]) -> dict[Fraction, Fraction]:
    """Each place as it is written: itself, or the nearest 48th of a beat where no sheet could hold them exactly."""
    if lcm(*(beat.denominator for beat in beats)) <= _FINEST:
        return {beat: beat for beat in beats}
    return {beat: Fraction(round(beat * 48), 48) for beat in beats}


def _write_rests(bar: PieceBar) -> tuple[WrittenNote, ...]:
    """A bar without a note: a whole-bar rest, but in a pick-up or other short bar rests of its own length.

    A rest for the whole bar would be read as one of the meter's bar (common practice, no source).
    """
    if bar.beats == bar.meter.beats:
        return (whole_rest(bar),)
    return _write_events([_Event(Fraction(0), bar.beats)], bar.meter, bar.offset)


def whole_rest(bar: PieceBar) -> WrittenNote:
    """A rest that stands for all of the bar."""
    return WrittenNote(Fraction(0), bar.beats * bar.meter.quarters_per_beat, "whole", bar_rest=True)


def _write_ringing(
    bar: PieceBar, plucks: Sequence[Pluck], before: tuple[Pluck, ...], goes_on: bool
) -> tuple[WrittenNote, ...]:
    if not plucks:
        return ()
    at = [(beat, tuple(group)) for beat, group in groupby(sorted(plucks, key=_beat_and_string), key=lambda p: p.beat)]
    ends = [beat for beat, _ in at[1:]] + [bar.beats]
    events = [_Event(beat, end, group) for (beat, group), end in zip(at, ends, strict=True)]
    if events[0].start > 0:
        events.insert(0, _Event(Fraction(0), events[0].start, before, from_before=bool(before)))
    events[-1] = replace(events[-1], goes_on=goes_on)
    return _write_events(events, bar.meter, bar.offset)


def _beat_and_string(pluck: Pluck) -> tuple[Fraction, int]:
    return pluck.beat, -pluck.string


def _write_events(events: Sequence[_Event], meter: Meter, offset: Fraction) -> tuple[WrittenNote, ...]:
    """Events without a gap as written notes; inside, positions count from where the meter's full bar begins."""
    shifted = [replace(e, start=e.start + offset, end=e.end + offset) for e in events]
    groups = find_tuplets([(e.start, e.end) for e in shifted], meter)
    notes: list[WrittenNote] = []
    for event in shifted:
        pieces: list[WrittenNote] = []
        for start, end, tuplet in cut_at_tuplets(event.start, event.end, groups):
            for s, e in split_into_values(start, end, meter, tuplet, event.rest):
                quarters = (e - s) * meter.quarters_per_beat
                written_length = quarters if tuplet is None else quarters * tuplet.parts / tuplet.normal
                name, dots = VALUES[written_length]
                value = WrittenNote(
                    s, quarters, name, dots, tuplet, plucks=event.plucks, tune=event.tune, spoken=event.spoken
                )
                pieces.append(value)
        last = len(pieces) - 1
        for k, piece in enumerate(pieces):
            onward, back = k < last or event.goes_on, k > 0 or event.from_before
            notes.append(replace(piece, tied_start=onward and not event.rest, tied_stop=back and not event.rest))
    notes = _mark_tuplet_edges(notes, groups)
    return tuple(replace(n, beat=n.beat - offset) for n in _join_beams(notes, groups))


def _mark_tuplet_edges(notes: Sequence[WrittenNote], groups: Sequence[Group]) -> list[WrittenNote]:
    """Mark the first and the last note of every tuplet."""
    done = list(notes)
    for start, end, _ in groups:
        inside = [k for k, n in enumerate(done) if n.tuplet is not None and start <= n.beat < end]
        for k, edge in ((inside[0], "start"), (inside[-1], "stop")) if len(inside) > 1 else ():
            done[k] = replace(done[k], edge=edge)
    return done


def _join_beams(notes: Sequence[WrittenNote], groups: Sequence[Group]) -> list[WrittenNote]:
    """Notes shorter than a quarter joined beat by beat, or over a tuplet."""
    done = list(notes)

    def beam_group(k: int) -> tuple[Fraction, bool]:
        note = done[k]
        start = next((a for a, b, _ in groups if note.tuplet and a <= note.beat < b), Fraction(floor(note.beat)))
        return start, not note.rest and note.type in _FLAGS

    for (_, flagged), run in groupby(range(len(done)), key=beam_group):
        ks = list(run)
        if flagged and len(ks) > 1:
            flags = [_FLAGS[done[k].type] for k in ks]
            for place, k in enumerate(ks):
                done[k] = replace(
                    done[k], beams=tuple(_beam_state(flags, place, n) for n in range(1, flags[place] + 1))
                )
    return done


def _beam_state(flags: Sequence[int], place: int, level: int) -> str:
    """What beam `level` does on the note at `place` of a run whose notes need so many `flags`."""
    before = place > 0 and flags[place - 1] >= level
    after = place + 1 < len(flags) and flags[place + 1] >= level
    if before and after:
        return "continue"
    if before or after:
        return "end" if before else "begin"
    return "backward hook" if place else "forward hook"

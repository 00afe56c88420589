"""Standard MIDI File 1.0 of a piece (MMA RP-001, format 1): thumb, fingers, tune and click on tracks of their own.

    track 0   tempo, meter, key, names of parts
    thumb     channel 1, steel-string guitar (General MIDI program 26, data byte 25)
    fingers   channel 2, the same
    tune      channel 3, flute, with the words; only where a tune or words are known
    click     channel 10, high and low wood block (keys 76 and 77)

Swing is played, not written. A note rings until its string is plucked again or the hand lets go of it.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from typing import Any

from coach.errors import CoachError
from coach.music.tempo import TempoPlan
from coach.paper.spelling import spelling_of
from coach.paper.tempo_map import tempo_map
from coach.picking.plucks import ACCENT, PLAIN, SOFT
from coach.song.piece import Piece, PieceBar
from coach.song.ties import join_ties

# The same strength for a stress, and the same keys, as the sound room sends to MIDI instruments.
VELOCITY = {SOFT: 48, PLAIN: 80, ACCENT: 112}
GUITAR, FLUTE = 25, 73
DOWN_KEY, BEAT_KEY = 76, 77
_DOWN, _BEAT, _TUNE_VELOCITY = 100, 84, 88
_THUMB, _FINGERS, _TUNE, _CLICK = 0, 1, 2, 9
_TICKS = (480, 960)
_MOST_TICKS = 32767  # fifteen bits of the header's division


@dataclass(frozen=True)
class MidiNote:
    """A note from tick `start` to tick `end`."""

    start: int
    end: int
    key: int
    velocity: int


def make_midi_file(piece: Piece, *, plan: TempoPlan | None = None, click: bool = True) -> bytes:
    """The bytes of a `.mid` file of `piece`: what sounds in each bar's layer.

    plan    its tempos in felt beats a minute, the piece's own when left out; a smooth ramp becomes steps of a beat
            or less, none of which is ever off by a millisecond
    click   whether there is a track that clicks every beat

    Raises CoachError for a piece without bars.
    """
    import mido

    if not piece.bars:
        raise CoachError(f"'{piece.title}' has no bars to play", mend="give it at least one bar")
    ticks = ticks_per_quarter(piece)
    # Any name or word can be written in UTF-8; the library's own choice stops at western European letters.
    file = mido.MidiFile(type=1, ticks_per_beat=ticks, charset="utf-8")
    end = _TickMap(piece, ticks).end
    file.tracks.append(_make_track(mido, piece.title, _tempo_messages(mido, piece, plan or piece.plan(), ticks), end))
    thumb, fingers = guitar_notes(piece, ticks)
    file.tracks.append(_make_track(mido, "Thumb", _note_messages(mido, thumb, _THUMB, GUITAR), end))
    file.tracks.append(_make_track(mido, "Fingers", _note_messages(mido, fingers, _FINGERS, GUITAR), end))
    if any(bar.tune or bar.words for bar in piece.bars):
        tune = [*_note_messages(mido, _tune_notes(piece, ticks), _TUNE, FLUTE), *_lyric_messages(mido, piece, ticks)]
        file.tracks.append(_make_track(mido, "Tune", tune, end))
    if click:
        file.tracks.append(
            _make_track(mido, "Click", _note_messages(mido, _click_notes(piece, ticks), _CLICK, None), end)
        )
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def ticks_per_quarter(piece: Piece) -> int:
    """Ticks of a quarter note on which every written place falls exactly: 480, 960, or a multiple for a rarer grid.

    A place that swing has moved falls on the nearest tick, less than a third of a millisecond off at 120 bpm.
    """
    needed = lcm(*(place.denominator for bar in piece.bars for place in _written_places(bar)))
    for ticks in (*_TICKS, lcm(_TICKS[0], needed), needed * -(-_TICKS[0] // needed)):
        if ticks % needed == 0 and ticks <= _MOST_TICKS:
            return ticks
    return _TICKS[-1]


def _written_places(bar: PieceBar) -> Iterator[Fraction]:
    quarters = bar.meter.quarters_per_beat
    beats = [bar.beats, *(p.beat for p in bar.plucks), *(h.beat for h in bar.held.holds)]
    beats += [beat for note in bar.tune for beat in (note.beat, note.beat + note.length)]
    return (beat * quarters for beat in beats)


class _TickMap:
    """Bars and beats to ticks. Every place is worked out from the piece's beginning, so no rounding adds up."""

    def __init__(self, piece: Piece, ticks: int) -> None:
        self._ticks = ticks
        self._starts: list[Fraction] = []
        at = Fraction(0)  # in quarter notes
        for bar in piece.bars:
            self._starts.append(at)
            at += bar.beats * bar.meter.quarters_per_beat
        self.end = round(at * ticks)

    def tick(self, bar: PieceBar, beat: Fraction) -> int:
        """The tick of `beat` of a bar; a beat past its end counts on in its own meter."""
        return round((self._starts[bar.number] + beat * bar.meter.quarters_per_beat) * self._ticks)


def guitar_notes(piece: Piece, ticks: int) -> tuple[list[MidiNote], list[MidiNote]]:
    """What the guitar plays, (thumb, fingers), in order of start.

    A note ends where its string is plucked again, where the hand takes another fret there, and at the piece's end.
    """
    places = _TickMap(piece, ticks)
    plucks = [(places.tick(bar, p.sounds_at), p) for bar in piece.bars for p in bar.sounding]
    plucks.sort(key=lambda pair: (pair[0], -pair[1].string))
    changes = [(places.tick(bar, h.beat), h.shape) for bar in piece.bars for h in bar.held.holds]
    notes: tuple[list[MidiNote], list[MidiNote]] = [], []
    for string in range(6, 0, -1):
        own = [(tick, p) for tick, p in plucks if p.string == string]
        ends = [*(tick for tick, _ in own), places.end][1:] if own else []
        frets = [(tick, shape.fret(string) if shape else None) for tick, shape in changes]
        k = 0
        for (start, pluck), end in zip(own, ends, strict=True):
            while k < len(frets) and (frets[k][0] <= start or (frets[k][0] < end and frets[k][1] == pluck.fret)):
                k += 1
            damped = frets[k][0] if k < len(frets) else end
            end = max(min(end, damped), start + 1)
            notes[0 if pluck.bass else 1].append(MidiNote(start, end, pluck.midi, VELOCITY[pluck.stress]))
    return _end_repeated_keys(notes[0]), _end_repeated_keys(notes[1])


def _end_repeated_keys(notes: Sequence[MidiNote]) -> list[MidiNote]:
    """In order of start; a key sounding on one string ends where another string begins it (they share a channel)."""
    done: list[MidiNote] = []
    following: dict[int, int] = {}
    for note in sorted(notes, key=lambda n: (n.start, n.key), reverse=True):
        again = following.get(note.key, note.end)
        end = min(note.end, again) if again > note.start else note.end
        done.append(MidiNote(note.start, end, note.key, note.velocity))
        following[note.key] = note.start
    return done[::-1]


def _tune_notes(piece: Piece, ticks: int) -> list[MidiNote]:
    places = _TickMap(piece, ticks)
    return [
        MidiNote(
            places.tick(bar, note.beat), places.tick(bar, note.beat + note.length), note.pitch.midi, _TUNE_VELOCITY
        )
        for bar, notes in zip(piece.bars, join_ties(piece.bars), strict=True)
        for note in notes
    ]


def _click_notes(piece: Piece, ticks: int) -> list[MidiNote]:
    """Every felt beat; the high block where the meter's bar begins, so not at the start of a pick-up."""
    places, notes = _TickMap(piece, ticks), []
    for bar in piece.bars:
        beat = -bar.offset % 1
        while beat < bar.beats:
            start = places.tick(bar, beat)
            key, velocity = (DOWN_KEY, _DOWN) if beat + bar.offset == 0 else (BEAT_KEY, _BEAT)
            notes.append(MidiNote(start, start + ticks // 8, key, velocity))
            beat += 1
    return notes


# Tracks


TimedMessage = tuple[int, int, Any]  # tick, rank among what falls on it, message


def _make_track(mido: Any, name: str, timed: Iterable[TimedMessage], end: int) -> Any:
    """A track from messages with their ticks, its name first and its end where the piece ends."""
    track = mido.MidiTrack([mido.MetaMessage("track_name", name=name, time=0)])
    at = 0
    for tick, _, message in sorted(timed, key=lambda t: t[:2]):
        track.append(message.copy(time=tick - at))
        at = tick
    track.append(mido.MetaMessage("end_of_track", time=max(end - at, 0)))
    return track


def _note_messages(mido: Any, notes: Iterable[MidiNote], channel: int, program: int | None) -> Iterator[TimedMessage]:
    if program is not None:
        yield 0, 0, mido.Message("program_change", channel=channel, program=program)
    for note in notes:
        yield note.start, 2, mido.Message("note_on", channel=channel, note=note.key, velocity=note.velocity)
        # Before whatever begins at the same tick.
        yield note.end, 1, mido.Message("note_off", channel=channel, note=note.key, velocity=0)


def _lyric_messages(mido: Any, piece: Piece, ticks: int) -> Iterator[TimedMessage]:
    places = _TickMap(piece, ticks)
    for bar in piece.bars:
        for word in bar.words:
            yield places.tick(bar, word.beat), 0, mido.MetaMessage("lyrics", text=word.text)


def _tempo_messages(mido: Any, piece: Piece, plan: TempoPlan, ticks: int) -> Iterator[TimedMessage]:
    places = _TickMap(piece, ticks)
    yield 0, 1, mido.MetaMessage("key_signature", key=str(spelling_of(piece).sounding))
    for tick, tempo in tempo_map(piece.bars, plan, ticks):
        yield tick, 2, mido.MetaMessage("set_tempo", tempo=tempo)
    last: tuple[int, int, int] | None = None
    part: tuple[str, int] | None = None
    for bar in piece.bars:
        signature = _time_signature(bar)
        if signature != last:
            upper, lower, clocks = last = signature
            parts = {"numerator": upper, "denominator": lower, "clocks_per_click": clocks}
            meter = mido.MetaMessage("time_signature", **parts, notated_32nd_notes_per_beat=8)
            yield places.tick(bar, Fraction(0)), 0, meter
        if bar.part and ((bar.part, bar.time) != part or not bar.part_bar):
            part = bar.part, bar.time
            yield places.tick(bar, Fraction(0)), 3, mido.MetaMessage("marker", text=bar.part)


def _time_signature(bar: PieceBar) -> tuple[int, int, int]:
    """(upper, lower, MIDI clocks of a click): 24 clocks are a quarter note. A short bar has a meter of its own."""
    clocks = int(24 * bar.meter.quarters_per_beat)
    if bar.beats == bar.meter.beats:
        return bar.meter.upper, bar.meter.lower, clocks
    share = bar.beats * bar.meter.quarters_per_beat / 4  # of a whole note
    lower = lcm(bar.meter.lower, share.denominator)
    upper = int(share * lower)
    if lower & (lower - 1) or not 0 < upper < 256 or lower > 64:
        return bar.meter.upper, bar.meter.lower, clocks
    return upper, lower, clocks

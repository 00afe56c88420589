"""A practice track against the same song's MIDI file as the library mido plays it: every pluck at the same time.

mido 1.3 turns ticks and tempo events into seconds by the Standard MIDI File 1.0 (MMA RP-001); a tempo there is whole
microseconds a quarter, so the two may part by a few tenths of a millisecond over a song.
"""

from __future__ import annotations

import io

import mido
import pytest

from coach import shelf
from coach.paper.midi_file import make_midi_file
from coach.song.perform import arrangement_of, perform
from coach.sound.timing import place_bars
from coach.tracks import Sounding, track_bars

RATE = 48000
SONGS = shelf.songs().songs


@pytest.mark.parametrize("name", SONGS)
def test_every_pluck_and_click_sounds_when_the_midi_file_says(name: str) -> None:
    """All plucks of each shipped song: the same notes in the same order, within a millisecond; the clicks likewise."""
    song = SONGS[name]
    piece = perform(song, arrangement_of(song), shelf.library().patterns, shelf.shapes())
    plucks, clicks = [], []
    for placed in place_bars(track_bars(piece, Sounding(count_in=0)), RATE):
        at = placed.start_beat
        plucks += [(placed.plan.frame(at + p.sounds_at, RATE) / RATE, p.midi) for p in placed.score.plucks]
        clicks += [placed.plan.frame(at + s.beat, RATE) / RATE for s in placed.score.strokes]
    seconds, notes, knocks = 0.0, [], []
    for message in mido.MidiFile(file=io.BytesIO(make_midi_file(piece))):
        seconds += message.time
        if message.type == "note_on" and message.velocity:
            if message.channel == 9:
                knocks.append(seconds)
            elif message.channel in (0, 1):
                notes.append((seconds, message.note))
    assert len(plucks) == len(notes) > 50
    # Plucks of one moment may stand in either order.
    for (ours, midi), (theirs, key) in zip(_ordered(plucks), _ordered(notes), strict=True):
        assert midi == key
        assert ours == pytest.approx(theirs, abs=0.001)
    assert clicks == pytest.approx(knocks, abs=0.001)


def _ordered(notes: list[tuple[float, int]]) -> list[tuple[float, int]]:
    return sorted(notes, key=lambda note: (round(note[0], 2), note[1]))

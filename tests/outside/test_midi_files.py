"""Our MIDI files against the published standards, a reader and a synthesizer nobody here made.

Standard MIDI File 1.0 (MMA RP-001): header, tempo, meter, end of track, variable-length quantities, the example file.
General MIDI level 1 (MMA): program 26 is the steel-string guitar; keys 76 and 77 are the wood blocks of channel 10.
The reader is mido, the synthesizer FluidSynth with the FluidR3 sound font.
"""

from __future__ import annotations

import io
import shutil
import struct
import subprocess
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import mido
import numpy as np
import pytest

from coach.music.tempo import TempoPlan, smooth_tempo
from coach.paper.midi_file import VELOCITY, make_midi_file, ticks_per_quarter
from coach.picking.realise import HeldBar, Hold
from coach.song.piece import Piece
from tests.outside.test_midi_standard import EXAMPLE, VLQ
from tests.outside.test_musicxml import songs
from tests.paper.made import bar_of, over, piece_of, sung
from tests.picking.shipped import PATTERNS

SOUND_FONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
Struck = tuple[int, int, int]  # tick, key, velocity


def read(data: bytes) -> mido.MidiFile:
    """The file as mido reads it."""
    return mido.MidiFile(file=io.BytesIO(data), charset="utf-8")


def timed(track: mido.MidiTrack) -> Iterator[tuple[int, mido.Message]]:
    """Messages with their ticks from the beginning."""
    tick = 0
    for message in track:
        tick += message.time
        yield tick, message


def named(file: mido.MidiFile, name: str) -> mido.MidiTrack:
    """The track of this name."""
    return next(t for t in file.tracks if t.name == name)


def struck(track: mido.MidiTrack) -> list[Struck]:
    """Every note on with a velocity; one without is a note off (MIDI 1.0)."""
    return sorted((tick, m.note, m.velocity) for tick, m in timed(track) if m.type == "note_on" and m.velocity)


def meant(piece: Piece, ticks: int, *, bass: bool) -> list[Struck]:
    """What the plucks say: where they are played, in ticks."""
    return sorted(
        (round((bar.start + p.sounds_at) * bar.meter.quarters_per_beat * ticks), p.midi, VELOCITY[p.stress])
        for bar in piece.bars
        for p in bar.sounding
        if p.bass is bass
    )


def test_the_header_is_that_of_the_standard() -> None:
    """SMF 1.0: `MThd`, six bytes, format 1, four tracks, 480 ticks; chunk lengths are exact, each ends FF 2F 00."""
    data = make_midi_file(over("outside-in", "C"))
    assert data[:14] == bytes.fromhex("4D546864 00000006 0001 0004 01E0")
    at, tracks = 14, 0
    while at < len(data):
        name, length = struct.unpack(">4sI", data[at : at + 8])
        at += 8 + length
        tracks += 1
        assert name == b"MTrk"
        assert data[at - 3 : at] == bytes.fromhex("FF2F00")
    assert (at, tracks) == (len(data), 4)


@pytest.mark.parametrize(
    ("bpm", "told"),
    [(60, "0F4240"), (72, "0CB735"), (80, "0B71B0"), (96, "098968"), (100, "0927C0"), (120, "07A120"), (144, "065B9B"),
     (160, "05B8D8")],
)  # fmt: skip
def test_tempo_is_microseconds_of_a_quarter_note(bpm: int, told: str) -> None:
    """SMF 1.0: FF 51 03 and 60 000 000 / bpm."""
    assert bytes.fromhex("FF5103" + told) in make_midi_file(over("outside-in", "C", bpm=bpm))


def test_meters_and_the_tempo_of_six_eight() -> None:
    """SMF 1.0: 4/4 is FF 58 04 04 02 18 08, 6/8 is FF 58 04 06 03 24 08; at dotted quarter 60 a quarter is 2/3 s."""
    assert bytes.fromhex("FF580404021808") in make_midi_file(over("outside-in", "C"))
    six = make_midi_file(over("six-eight-arpeggio", "C", bpm=60))
    assert bytes.fromhex("FF580406032408") in six
    assert bytes.fromhex("FF5103") + (666667).to_bytes(3, "big") in six
    assert read(six).length == pytest.approx(2.0, abs=1e-5)


def test_instruments_are_general_midi_s() -> None:
    """Program byte 0x19 on the channels of thumb and fingers; the click on channel 10 with keys 76 and 77 alone."""
    file = read(make_midi_file(over("outside-in", "C | F")))
    for name, channel in (("Thumb", 0), ("Fingers", 1)):
        programs = [(m.channel, m.program) for m in named(file, name) if m.type == "program_change"]
        assert programs == [(channel, 0x19)]
    clicks = [m for m in named(file, "Click") if m.type == "note_on"]
    assert {m.channel for m in clicks} == {9}
    assert [m.note for m in clicks] == [76, 77, 77, 77] * 2


def test_every_pattern_reads_back_pluck_for_pluck() -> None:
    """All 74 over five chords, some behind a capo: mido reads the same keys at the same ticks, swing and all."""
    assert len(PATTERNS) >= 74
    for number, pattern in enumerate(PATTERNS):
        piece = over(pattern, capo=number % 4)
        file = read(make_midi_file(piece))
        assert struck(named(file, "Thumb")) == meant(piece, file.ticks_per_beat, bass=True), pattern.id
        assert struck(named(file, "Fingers")) == meant(piece, file.ticks_per_beat, bass=False), pattern.id


def test_every_song_reads_back_pluck_for_pluck() -> None:
    """All arrangements of the shipped songs as they are sung."""
    for piece in songs():
        file = read(make_midi_file(piece))
        assert struck(named(file, "Thumb")) == meant(piece, file.ticks_per_beat, bass=True), piece.title
        assert struck(named(file, "Fingers")) == meant(piece, file.ticks_per_beat, bass=False), piece.title


def test_every_note_on_has_its_off_and_none_lasts_past_the_end() -> None:
    """On every track, in all patterns: as many offs as ons of each key, and nothing sounds before it is struck."""
    for pattern in PATTERNS:
        for track in read(make_midi_file(over(pattern))).tracks:
            sounding: Counter[int] = Counter()
            for _, m in timed(track):
                if m.type in ("note_on", "note_off"):
                    sounding[m.note] += 1 if m.type == "note_on" else -1
                    assert sounding[m.note] in (0, 1), pattern.id
            assert not +sounding, pattern.id


def test_all_tracks_end_where_the_last_bar_does() -> None:
    """Five bars of 4/4 are 20 quarter notes."""
    file = read(make_midi_file(over("outside-in")))
    ends = [[tick for tick, m in timed(t) if m.type == "end_of_track"] for t in file.tracks]
    assert ends == [[20 * file.ticks_per_beat]] * len(file.tracks)


def test_grids_fall_on_whole_ticks() -> None:
    """480 serves halves, thirds, fifths, sixteenths; 64 slots need 960; sevenths need a multiple of 7."""
    for fractions, ticks in ((("1/2", "1/3", "2/5"), 480), (("1/64",), 960), (("3/7",), 3360)):
        bar = bar_of("4/4", fractions)
        piece = piece_of(replace(bar, slots=64))
        assert ticks_per_quarter(piece) == ticks
        file = read(make_midi_file(piece))
        assert [t for t, _, _ in struck(named(file, "Fingers"))] == sorted(Fraction(f) * ticks for f in fractions)


def at_beats(file: mido.MidiFile, ticks: int, quarters: int) -> list[float]:
    """Seconds of every beat by the file's tempo events, summed piece by piece (SMF 1.0)."""
    events = [(tick, m.tempo) for tick, m in timed(file.tracks[0]) if m.type == "set_tempo"]
    found, seconds, last, tempo = [], 0.0, 0, 500_000
    for tick in range(0, quarters * ticks + 1, ticks // 8):
        while events and events[0][0] <= tick:
            at, following = events.pop(0)
            seconds += (at - last) * tempo / ticks / 1e6
            last, tempo = at, following
        found.append(seconds + (tick - last) * tempo / ticks / 1e6)
    return found


@pytest.mark.parametrize(("start", "end"), [(60, 120), (120, 60), (20, 200), (90, 92), (200, 40)])
def test_a_ramp_never_strays_by_a_millisecond(start: int, end: int) -> None:
    """Against t(x) = 60/a ln(1 + a x / b0), every eighth of a beat over 16 bars of ramp and 4 of the last tempo."""
    piece = over("outside-in", loops=4)
    plan = smooth_tempo(Fraction(start), Fraction(end), Fraction(64))
    file = read(make_midi_file(piece, plan=plan))
    for k, seconds in enumerate(at_beats(file, file.ticks_per_beat, 80)):
        assert abs(seconds - plan.seconds(Fraction(k, 8))) < 0.001


def test_steps_of_tempo_stay_exact_over_a_long_piece() -> None:
    """83 bpm for 100 bars, then 97: no rounding to microseconds adds up; half a millisecond at most."""
    piece = over("outside-in", loops=40)
    plan = TempoPlan.build([(Fraction(0), Fraction(83), Fraction(0)), (Fraction(400), Fraction(97), Fraction(0))])
    file = read(make_midi_file(piece, plan=plan))
    for k, seconds in enumerate(at_beats(file, file.ticks_per_beat, 800)):
        assert abs(seconds - plan.seconds(Fraction(k, 8))) < 0.0005


def test_deltas_are_the_standard_s_variable_lengths() -> None:
    """SMF 1.0's table, and 480 ticks as 83 60: the click's delta from off to on is 420, 83 24."""
    assert VLQ[0x80] == "81 00"
    data = make_midi_file(over("outside-in", "C"))
    assert bytes.fromhex("83 24 99 4D".replace(" ", "")) in data


def test_the_example_file_and_ours_are_read_by_the_same_rules() -> None:
    """SMF 1.0's 81-byte file: four notes at ticks 0, 0, 96, 192, found by what reads ours."""
    assert struck(read(EXAMPLE).tracks[0]) == [(0, 48, 96), (0, 60, 96), (96, 67, 64), (192, 76, 32)]


# The synthesizer


def onsets(sound: np.ndarray, rate: int, near: list[float]) -> list[float]:
    """Where the sound rises by a tenth of the way from what still rings to its new peak, near these times."""
    found = []
    for start in near:
        before = np.abs(sound[max(0, round((start - 0.06) * rate)) : max(1, round((start - 0.03) * rate))]).max()
        first = max(0, round((start - 0.03) * rate))
        piece = np.abs(sound[first : round((start + 0.08) * rate)])
        found.append((first + int(np.argmax(piece > before + (piece.max() - before) / 10))) / rate)
    return found


@pytest.mark.parametrize("meter", ["4/4", "6/8"])
def test_a_synthesizer_sounds_the_plucks_where_they_are(meter: str, tmp_path: Path) -> None:
    """FluidSynth, no reverb or chorus: less its own attack of about 10 ms each pluck is within 3 ms of its beat.

    (Measured with FluidSynth 2.3.1: a tenth of the peak is reached 7.8 to 12.8 ms after note on.) One pluck on each
    of two strings, then a bar without a chord that damps them, so that each begins in silence; 8 bars at 61, 8 at 83.
    """
    if not shutil.which("fluidsynth") or not SOUND_FONT.is_file():
        pytest.skip("missing tool: fluidsynth with fluid-soundfont-gm")
    silent = replace(bar_of(meter), held=HeldBar((Hold(Fraction(0), None, None, None),)))
    piece = piece_of(*[bar_of(meter, ["4/3"], [0], slots=12), silent] * 8)
    parts = [(Fraction(0), Fraction(61), Fraction(0)), (piece.beats / 2, Fraction(83), Fraction(0))]
    plan = TempoPlan.build(parts)
    wanted = [plan.seconds(bar.start + p.sounds_at) for bar in piece.bars for p in bar.plucks]
    file, raw = tmp_path / "made.mid", tmp_path / "made.raw"
    file.write_bytes(make_midi_file(piece, plan=plan, click=False))
    plain = ["-n", "-i", "-q", "-R", "0", "-C", "0", "-g", "0.6", "-r", "44100", "-T", "raw", "-O", "s16"]
    command = ["fluidsynth", *plain, "-F", str(raw), str(SOUND_FONT), str(file)]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    sound = np.fromfile(raw, dtype="<i2").reshape(-1, 2).astype(float).mean(axis=1)
    late_ms = [1000 * (heard - want) for heard, want in zip(onsets(sound, 44100, wanted), wanted, strict=True)]
    assert len(late_ms) == 16
    assert all(7 < late < 13 for late in late_ms), late_ms


def test_the_tune_has_a_track_of_its_own() -> None:
    """Its notes held over a bar line are struck once; the words stand at their beats as lyric events."""
    file = read(make_midi_file(sung()))
    ticks = file.ticks_per_beat
    tune = named(file, "Tune")
    assert struck(tune) == [(0, 62, 88), (ticks, 66, 88), (2 * ticks, 57, 88)]
    offs = [tick for tick, m in timed(tune) if m.type == "note_off"]
    assert offs == [ticks, 2 * ticks, 6 * ticks]
    words = [(tick // ticks, m.text) for tick, m in timed(tune) if m.type == "lyrics"]
    assert words[:3] == [(0, "fer-"), (1, "ry"), (2, "bell")]
    markers = [(tick, m.text) for tick, m in timed(file.tracks[0]) if m.type == "marker"]
    assert markers == [(0, "Verse"), (8 * ticks, "Chorus")]

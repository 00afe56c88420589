"""Practice tracks: every click, pluck and tone at its exact sample, in tune, never too loud, in little memory."""

from __future__ import annotations

import errno
import math
import tracemalloc
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile

from coach import shelf
from coach.commands.picking import held_bars
from coach.errors import BadInput, CoachError
from coach.music.notes import Pitch
from coach.music.tempo import smooth_tempo
from coach.picking.plucks import ACCENT
from coach.song.chart import TuneNote
from coach.song.piece import Piece, PieceBar, pattern_piece
from coach.sound.humming import PEAK, hum
from coach.sound.mixer import CEILING, render, render_bars
from coach.sound.score import BEAT, DOWN
from coach.sound.sound_files import write_sound
from coach.sound.timing import frames_of
from coach.tracks import Sounding, as_written, at_share, plucks_in, track_bars
from tests.outside.test_strings_in_tune import cents_off
from tests.sound.hands import RATE, bar, onsets, picked_bar

SILENT = Sounding(thumb=False, fingers=False, voice=False)
STRINGS = Sounding(click=False, count_in=0)


def piece_of(chords: str = "C | F", bpm: int = 96, loops: int = 1, name: str = "outside-in") -> Piece:
    """A shipped pattern over chords."""
    pattern = shelf.library().find(name)
    return pattern_piece(pattern, held_bars(chords, pattern.meter), Fraction(bpm), loops=loops)


def sung(piece: Piece, *tunes: tuple[TuneNote, ...]) -> Piece:
    """The same piece with a tune in its first bars."""
    bars = [replace(b, tune=tune) for b, tune in zip(piece.bars, tunes, strict=False)]
    return replace(piece, bars=(*bars, *piece.bars[len(bars) :]))


def note(beat: str, length: str, pitch: str, *, tied: bool = False) -> TuneNote:
    """A note of a tune."""
    return TuneNote(Fraction(beat), Fraction(length), Pitch.parse(pitch), tied)


# Where things fall ----------------------------------------------------------------------------


def test_every_click_of_a_climb_is_at_its_exact_sample() -> None:
    """60 to 90 bpm over 8 bars, then 90: t = 60/a · ln(1 + a·x/60) with a = 30/32 a beat, worked out here by hand."""
    plan = smooth_tempo(Fraction(60), Fraction(90), Fraction(8))

    def climb(n: int, _: PieceBar) -> tuple[Fraction, Fraction]:
        return plan.bpm_at(Fraction(n)), plan.bpm_at(Fraction(n + 1))

    bars = track_bars(piece_of("C", 60), replace(SILENT, count_in=0, loops=12), climb)
    slope = 30 / 32
    top = 60 / slope * math.log(1.5)
    meant = [60 / slope * math.log1p(slope * x / 60) if x < 32 else top + (x - 32) * 60 / 90 for x in range(48)]
    assert onsets(render(bars, RATE)) == [round(t * RATE) for t in meant]


def test_every_pluck_is_at_its_exact_sample() -> None:
    """Without one pluck the track differs first at that pluck's own sample, (beat · 60/97) · 48000, for each of 16."""
    bars = track_bars(piece_of(bpm=97), STRINGS)
    whole = render(bars, RATE)
    places = [(n, p) for n, b in enumerate(bars) for p in b.plucks]
    assert len(places) == plucks_in(bars) == 20
    for n, pluck in places:
        fewer = [replace(b, plucks=tuple(p for p in b.plucks if (k, p) != (n, pluck))) for k, b in enumerate(bars)]
        without = render(fewer, RATE)
        first = int(np.flatnonzero(np.any(whole[: len(without)] != without[: len(whole)], axis=1))[0])
        assert first == round((4 * n + pluck.sounds_at) * Fraction(60, 97) * RATE)


def test_every_tone_begins_and_ends_where_the_tune_says() -> None:
    """At 120 bpm a tone of a beat from beat 1 sounds from sample 24000 on and is gone 70 ms after sample 48000."""
    tune = (note("1", "1", "E4"),)
    bars = track_bars(sung(piece_of(bpm=120), tune), Sounding(thumb=False, fingers=False, click=False, count_in=0))
    heard = np.flatnonzero(render(bars, RATE)[:, 0])
    # The attack rises from nothing: its first samples are not heard yet.
    assert 24000 <= heard[0] <= 24010
    assert 48000 < heard[-1] < 48000 + 0.070 * RATE


def test_a_tied_note_is_one_tone_across_the_bar_line() -> None:
    """The last beat of bar 1 tied to the first two of bar 2: three beats, no second attack."""
    first, second = (note("3", "1", "G4"),), (note("0", "2", "G4", tied=True), note("2", "1", "A4"))
    tones = [b.tune for b in track_bars(sung(piece_of(), first, second), replace(SILENT, voice=True, count_in=0))]
    assert [(t.beat, t.length, t.midi) for t in tones[0]] == [(3, 3, 67)]
    assert [(t.beat, t.length, t.midi) for t in tones[1]] == [(2, 1, 69)]


def test_the_tune_swings_with_the_guitar() -> None:
    """Over a pattern with a swing share of 2/3 an off-beat of the tune comes at 2/3 of the beat."""
    name = next(p.id for p in shelf.library().patterns.values() if p.share == Fraction(2, 3) and p.meter.beats == 4)
    tune = (note("0", "1/2", "C4"), note("1/2", "1/2", "D4"), note("1", "1", "E4"))
    tones = track_bars(sung(piece_of(name=name), tune), replace(SILENT, voice=True, count_in=0))[0].tune
    assert [(t.beat, t.length) for t in tones] == [(0, Fraction(2, 3)), (Fraction(2, 3), Fraction(1, 3)), (1, 1)]


# What sounds ----------------------------------------------------------------------------------


def test_thumb_and_fingers_can_be_left_out() -> None:
    """The two halves have no pluck in common and are together all of them."""
    piece = piece_of()
    thumb = track_bars(piece, replace(STRINGS, fingers=False))
    fingers = track_bars(piece, replace(STRINGS, thumb=False))
    assert {p.finger for b in thumb for p in b.plucks} == {"p"}
    assert "p" not in {p.finger for b in fingers for p in b.plucks}
    assert plucks_in(thumb) + plucks_in(fingers) == plucks_in(track_bars(piece, STRINGS))


def test_a_thinned_layer_sounds_thinned() -> None:
    """The layer `thumb` of a piece is what is left without its fingers."""
    piece = piece_of()
    thinned = track_bars(piece.layered(["thumb"] * 2), STRINGS)
    assert [b.plucks for b in thinned] == [b.plucks for b in track_bars(piece, replace(STRINGS, fingers=False))]


def test_without_a_click_the_count_in_remains() -> None:
    """Four clicks and no more."""
    bars = track_bars(piece_of(), Sounding(click=False))
    assert [len(b.strokes) for b in bars] == [4, 0, 0]


def test_loops_go_round_and_count_in_once() -> None:
    """One bar of count-in and three times two bars; each time round sounds the same."""
    bars = track_bars(piece_of(), Sounding(loops=3))
    assert len(bars) == 7
    assert [b.number for b in bars] == list(range(7))
    assert bars[1].plucks == bars[3].plucks == bars[5].plucks


def test_a_pick_up_comes_in_where_the_count_leads_to_it() -> None:
    """A pick-up of one beat in 4/4: 1 2 3 4, 1 2 3, and the pick-up is four (common practice, no source)."""
    piece = piece_of()
    short = replace(piece.bars[0], beats=Fraction(1), plucks=piece.bars[0].plucks[:1])
    later = replace(piece.bars[1], part_bar=1, start=Fraction(1))
    bars = track_bars(replace(piece, bars=(short, later)), Sounding())
    assert [b.beats for b in bars] == [4, 3, 1, 4]
    kinds = [[s.kind for s in b.strokes] for b in bars]
    assert kinds == [[DOWN, BEAT, BEAT, BEAT], [DOWN, BEAT, BEAT], [BEAT], [DOWN, BEAT, BEAT, BEAT]]


def test_a_pick_up_of_half_a_beat_has_no_click_of_its_own() -> None:
    """It falls between the clicks of four and one."""
    piece = piece_of()
    short = replace(piece.bars[0], beats=Fraction(1, 2), plucks=())
    bars = track_bars(replace(piece, bars=(short, replace(piece.bars[1], part_bar=1))), Sounding())
    assert [b.beats for b in bars] == [4, Fraction(7, 2), Fraction(1, 2), 4]
    assert [len(b.strokes) for b in bars] == [4, 4, 0, 4]


def test_parts_keep_their_proportion_at_another_tempo() -> None:
    """Bars at 80 and 100 bpm played at 80 %: 64 and 80."""
    piece = piece_of(bpm=80)
    piece = replace(piece, bars=(piece.bars[0], replace(piece.bars[1], bpm=Fraction(100))))
    bars = track_bars(piece, Sounding(count_in=0), at_share(Fraction(4, 5)))
    assert [b.bpm_from for b in bars] == [64, 80]


def test_a_tempo_nobody_can_tell_is_refused() -> None:
    """A tenth of 90 bpm is 9; the sentence says which bar and what would do."""
    with pytest.raises(BadInput, match="bar 1 would be played at 9 bpm"):
        track_bars(piece_of(bpm=90), Sounding(), at_share(Fraction(1, 10)))


# In tune, never too loud ----------------------------------------------------------------------


@pytest.mark.parametrize("rate", [44100, 48000])
def test_the_hummed_tone_is_in_tune(rate: int) -> None:
    """Every note from C2 to C6 within a tenth of a cent of equal temperament (ISO 16:1975)."""
    off = {midi: cents_off(hum(midi, 3 * rate, rate), rate, midi) for midi in range(36, 85)}
    assert {midi: cents for midi, cents in off.items() if abs(cents) > 0.1} == {}


def test_the_hummed_tone_begins_and_ends_softly() -> None:
    """No sample jumps by more than the tone's own steepest slope does in its middle, and it never passes its peak."""
    wave = hum(64, RATE, RATE)
    jumps = np.abs(np.diff(wave, prepend=np.float32(0), append=np.float32(0)))
    assert jumps[:200].max() < 0.05 * jumps.max()
    assert jumps[-200:].max() < 0.05 * jumps.max()
    assert np.max(np.abs(wave)) <= PEAK + 1e-6


def test_no_sample_of_a_track_is_too_loud() -> None:
    """Accents on all strings, the click and the tune together stay under half of full scale, in every block."""
    piece = sung(piece_of("E | A", 160), tuple(note(str(b), "1", "E3") for b in range(4)))
    loud = [replace(b, plucks=tuple(replace(p, stress=ACCENT) for p in b.plucks)) for b in piece.bars]
    bars = track_bars(replace(piece, bars=tuple(loud)), Sounding(loops=4))
    assert max(float(np.max(np.abs(block))) for block in render_bars(bars, RATE)) <= CEILING


def test_a_long_track_needs_no_more_memory_than_a_short_one(tmp_path: Path) -> None:
    """Twelve times the music, written block by block, takes less than a quarter more memory at its peak."""

    def peak(loops: int) -> int:
        bars = track_bars(piece_of(bpm=120), Sounding(loops=loops))
        tracemalloc.start()
        write_sound(tmp_path / f"{loops}.wav", render_bars(bars, 8000), 8000)
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return most

    peak(2)  # what is kept for good is made now
    assert peak(120) < 1.25 * peak(10)


# Files ----------------------------------------------------------------------------------------

SOUND = render([bar(0, 120, plucks=picked_bar())], RATE)


@pytest.mark.parametrize("bits", [16, 24])
def test_wav_and_flac_hold_the_same_samples(bits: int, tmp_path: Path) -> None:
    """Read back by libsndfile, both are the same and within half a step of what was meant; none is lost."""
    read = {}
    for ending in ("wav", "flac"):
        assert write_sound(tmp_path / f"a.{ending}", [SOUND[:1000], SOUND[1000:]], RATE, bits=bits) == len(SOUND)
        read[ending], rate = soundfile.read(tmp_path / f"a.{ending}", dtype="int32")
        assert rate == RATE
        assert soundfile.info(tmp_path / f"a.{ending}").subtype == f"PCM_{bits}"
    assert np.array_equal(read["wav"], read["flac"])
    step = 1 / (2 ** (bits - 1) - 1)
    assert np.max(np.abs((read["wav"] >> (32 - bits)) * step - SOUND)) <= 0.5 * step + 1e-7


def test_ogg_is_as_long_and_sounds_alike(tmp_path: Path) -> None:
    """Vorbis keeps the length to the sample and the shape of the sound."""
    write_sound(tmp_path / "a.ogg", [SOUND], RATE)
    back, rate = soundfile.read(tmp_path / "a.ogg")
    assert (rate, back.shape) == (RATE, SOUND.shape)
    assert np.corrcoef(back[:, 0], SOUND[:, 0])[0, 1] > 0.98


@pytest.mark.parametrize("ending", ["wav", "flac", "ogg"])
def test_a_disk_that_fills_up_leaves_nothing_behind(
    ending: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Trouble in the middle of writing is one sentence; no half file stays."""
    import builtins

    whole = builtins.open

    def narrow(path: object, mode: str = "r", *more: object, **others: object) -> object:
        file = whole(path, mode, *more, **others)  # type: ignore[call-overload]
        return _Narrow(file) if mode == "xb" else file

    monkeypatch.setattr("builtins.open", narrow)
    with pytest.raises(CoachError, match="the disk is full"):
        write_sound(tmp_path / f"a.{ending}", [SOUND] * 4, RATE)
    assert list(tmp_path.iterdir()) == []


class _Narrow:
    """A file on a disk with room for 20 kB."""

    def __init__(self, file: object) -> None:
        self.file = file
        self.room = 20_000

    def __enter__(self) -> _Narrow:
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()  # type: ignore[attr-defined]

    def write(self, data: bytes) -> int:
        self.room -= len(data)
        if self.room < 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        return self.file.write(data)  # type: ignore[attr-defined, no-any-return]

    def __getattr__(self, name: str) -> object:
        return getattr(self.file, name)


def test_a_source_that_breaks_off_leaves_nothing_behind(tmp_path: Path) -> None:
    """When the rendering itself fails there is no file either."""

    def pieces() -> Iterator[np.ndarray]:
        yield SOUND
        raise ValueError("broken")

    for ending in ("wav", "flac"):
        with pytest.raises(ValueError, match="broken"):
            write_sound(tmp_path / f"a.{ending}", pieces(), RATE)
    assert list(tmp_path.iterdir()) == []


def test_frames_are_known_beforehand() -> None:
    """What is told before rendering is what the bars come to."""
    bars = track_bars(piece_of(), Sounding(), as_written)
    assert frames_of(bars, RATE) == len(render(bars, RATE, tail_s=0)) == round(12 * 60 / 96 * RATE)

"""What a MIDI file says of a piece: how long strings ring, where the bars lie, what it is called."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace

import mido
import pytest

from coach.errors import CoachError
from coach.music.keys import Key
from coach.paper.midi_file import guitar_notes, make_midi_file
from coach.song.piece import Piece
from tests.paper.made import bar_of, over, piece_of, sung

TICKS = 480


def read(piece: Piece) -> mido.MidiFile:
    """The file read back."""
    return mido.MidiFile(file=io.BytesIO(make_midi_file(piece)), charset="utf-8")


def metas(track: mido.MidiTrack, kind: str) -> Iterator[tuple[int, mido.MetaMessage]]:
    """(tick, message) of a kind."""
    tick = 0
    for message in track:
        tick += message.time
        if message.type == kind:
            yield tick, message


def test_a_string_rings_until_it_is_plucked_again() -> None:
    """Thumb on 1 and 3 of each bar: half a bar each, over the bar line too; the finger's string rings to the end."""
    bars = [bar_of("4/4", thumb=[0, 2]), bar_of("4/4", thumb=[0, 2])]
    thumb, _ = guitar_notes(piece_of(*bars), TICKS)
    assert [(n.start, n.end) for n in thumb] == [(k * 960, (k + 1) * 960) for k in range(4)]
    _, fingers = guitar_notes(piece_of(bar_of("4/4", [1]), *bars), TICKS)
    assert [(n.start, n.end) for n in fingers] == [(TICKS, 12 * TICKS)]


def test_a_string_is_damped_when_the_hand_takes_another_fret_there_and_rings_on_where_it_does_not() -> None:
    """From C to Am string 5 goes from fret 3 to open, string 1 stays open."""
    after = over("outside-in", "Am").bars[0].held
    piece = piece_of(bar_of("4/4", [0], [0]), replace(bar_of("4/4"), held=after))
    thumb, fingers = guitar_notes(piece, TICKS)
    assert [(n.key, n.end) for n in thumb] == [(48, 4 * TICKS)]
    assert [(n.key, n.end) for n in fingers] == [(64, 8 * TICKS)]


def test_a_key_that_two_strings_sound_is_struck_again_and_not_cut_off() -> None:
    """E4 on string 1 open, then on string 2 at fret 5: the first ends where the second begins."""
    bar = bar_of("4/4", [0, 2])
    other = replace(bar.plucks[1], string=2, fret=5)
    _, fingers = guitar_notes(piece_of(replace(bar, plucks=(bar.plucks[0], other))), TICKS)
    assert [(n.start, n.end) for n in fingers] == [(0, 960), (960, 1920)]


def test_swing_is_played() -> None:
    """A share of 3/5: what is written after the beat comes at three fifths of it, 288 of 480 ticks."""
    _, fingers = guitar_notes(over("swing-one-finger", "C"), 960)
    assert {n.start % 960 for n in fingers} <= {0, 640}  # 2:1: two thirds
    _, fingers = guitar_notes(over("swing-easy", "C"), TICKS)
    assert {n.start % TICKS for n in fingers} == {0, 288}


def test_only_the_layer_that_sounds_is_played() -> None:
    """Under words the thumb alone: no finger in bars 1 and 3."""
    _, fingers = guitar_notes(sung(), TICKS)
    assert {n.start // (4 * TICKS) for n in fingers} == {1, 3}


def test_the_click_can_be_left_out() -> None:
    """Without it there is no track of that name."""
    piece = over("outside-in")
    assert [t.name for t in read(piece).tracks] == ["Outside in", "Thumb", "Fingers", "Click"]
    without = mido.MidiFile(file=io.BytesIO(make_midi_file(piece, click=False)))
    assert [t.name for t in without.tracks] == ["Outside in", "Thumb", "Fingers"]


def test_a_pick_up_has_a_meter_of_its_own_so_that_the_bars_fall_right() -> None:
    """One beat before 4/4 is a bar of 1/4 with a low click; one dotted quarter before 6/8 is 3/8."""
    for meter, expected, key in (("4/4", [(0, 1, 4), (480, 4, 4)], 77), ("6/8", [(0, 3, 8), (720, 6, 8)], 77)):
        file = read(piece_of(bar_of(meter, [0], beats=1), bar_of(meter, [0])))
        signatures = [(tick, m.numerator, m.denominator) for tick, m in metas(file.tracks[0], "time_signature")]
        assert signatures == expected
        clicks = [m.note for m in file.tracks[-1] if m.type == "note_on"]
        assert clicks[:2] == [key, 76]


def test_the_key_is_the_one_that_sounds() -> None:
    """Shapes of G at capo 2: A; of E minor at capo 3: G minor."""
    for key, capo, expected in (("G", 2, "A"), ("Em", 3, "Gm")):
        file = read(replace(over("outside-in", "G", capo=capo), key=Key.parse(key)))
        assert [m.key for _, m in metas(file.tracks[0], "key_signature")] == [expected]


def test_a_change_of_meter_changes_the_quarter_note_s_tempo() -> None:
    """The felt beat stays 60: a second to the quarter, then a second to the dotted quarter."""
    file = read(piece_of(bar_of("4/4", [0]), bar_of("6/8", [0])))
    tempos = [(tick, m.tempo) for tick, m in metas(file.tracks[0], "set_tempo")]
    assert tempos == [(0, 1_000_000), (1920, 666_667)]
    assert file.length == pytest.approx(6.0, abs=1e-5)


def test_titles_may_be_in_any_letters() -> None:
    """Names are UTF-8."""
    assert read(replace(over("outside-in"), title="Łódź — 川")).tracks[0].name == "Łódź — 川"


def test_a_piece_without_bars_is_refused_in_a_sentence() -> None:
    """There is nothing to play."""
    with pytest.raises(CoachError, match=r"'Nothing' has no bars to play; give it at least one bar\."):
        make_midi_file(Piece("nothing", "Nothing", ()))

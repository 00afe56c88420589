"""Our MIDI against the published standards.

Standard MIDI File 1.0 (MMA RP-001): the table of variable-length quantities and the 81-byte example file.
General MIDI level 1 (MMA): program 26 is the steel-string guitar, percussion keys are 35 to 81 on channel 10.
MIDI 1.0: status bytes, controller 123 (all notes off).
"""

from __future__ import annotations

import io
from fractions import Fraction

import mido
import pytest
from mido.midifiles.meta import encode_variable_int
from mido.midifiles.midifiles import read_variable_int

from coach.music.tempo import Segment
from coach.picking.plucks import ACCENT, PLAIN, SOFT
from coach.sound.midi_out import CLICK_KEY, CLICK_VELOCITY, VELOCITY, Due, Strings, all_off, dues, program_change
from coach.sound.premix import TimedBar
from tests.sound.hands import RATE, bar, pluck

# SMF 1.0, "variable-length quantity", all twelve rows.
VLQ = {
    0x00: "00", 0x40: "40", 0x7F: "7F", 0x80: "81 00", 0x2000: "C0 00", 0x3FFF: "FF 7F", 0x4000: "81 80 00",
    0x100000: "C0 80 00", 0x1FFFFF: "FF FF 7F", 0x200000: "81 80 80 00", 0x8000000: "C0 80 80 00",
    0x0FFFFFFF: "FF FF FF 7F",
}  # fmt: skip

# SMF 1.0, the example file in format 0, division 96.
EXAMPLE = bytes.fromhex(
    "4D546864 00000006 0000 0001 0060 4D54726B 0000003B 00FF580404021808 00FF510307A120 00C005 00C12E 00C246"
    "00923060 003C60 60914340 60904C20 8140823040 003C40 00814340 00804C40 00FF2F00"
)


@pytest.mark.parametrize(("value", "written"), VLQ.items())
def test_variable_length_quantity(value: int, written: str) -> None:
    """Each row of the standard's table, through the library that our files are written and read with."""
    assert bytes(encode_variable_int(value)) == bytes.fromhex(written)
    assert read_variable_int(io.BytesIO(bytes.fromhex(written))) == value


def test_the_example_file_reads_as_published() -> None:
    """81 bytes: notes 48, 60, 67, 76 with velocities 96, 96, 64, 32 at ticks 0, 0, 96, 192; two seconds long."""
    assert len(EXAMPLE) == 81
    song = mido.MidiFile(file=io.BytesIO(EXAMPLE))
    assert (song.type, song.ticks_per_beat, song.length) == (0, 96, pytest.approx(2.0))
    tick, found = 0, []
    for message in song.tracks[0]:
        tick += message.time
        if message.type == "note_on" and message.velocity:
            found.append((tick, message.channel, message.note, message.velocity))
    assert found == [(0, 2, 48, 96), (0, 2, 60, 96), (96, 1, 67, 64), (192, 0, 76, 32)]


def test_the_example_file_written_again_reads_the_same() -> None:
    """Written by the library and read again, the example's events are the same ones at the same ticks."""
    song = mido.MidiFile(file=io.BytesIO(EXAMPLE))
    written = io.BytesIO()
    song.save(file=written)
    again = mido.MidiFile(file=io.BytesIO(written.getvalue()))
    assert [m.dict() for m in again.tracks[0]] == [m.dict() for m in song.tracks[0]]
    assert written.getvalue().endswith(bytes.fromhex("00FF2F00"))


def test_steel_string_guitar_is_byte_25() -> None:
    """General MIDI counts programs from 1: 26, acoustic guitar (steel), is C0 19 on channel 1 (24 would be nylon)."""
    assert program_change().hex() == "C0 19"


def test_the_click_uses_percussion_keys_of_general_midi() -> None:
    """High and low wood block, 76 and 77: inside 35 to 81; on channel 10, status byte 99."""
    assert all(35 <= key <= 81 for key in CLICK_KEY.values())
    timed = TimedBar(0, Fraction(0), 0, 96000, bar(0, 120), Segment(Fraction(0), Fraction(120)))
    strings = Strings(RATE)
    sent = [message for due in dues(timed, RATE) for message in strings.pluck(due)]
    assert [m.hex() for m in sent if m.type == "note_on"] == ["99 4C 64", "99 4D 54", "99 4D 54", "99 4D 54"]


def test_open_strings_on_the_wire() -> None:
    """E2 A2 D3 G3 B3 E4 are keys 28 2D 32 37 3B 40 (hex), note on, channel 1, and their note off is status 80."""
    strings = Strings(RATE)
    open_strings = {6: 40, 5: 45, 4: 50, 3: 55, 2: 59, 1: 64}
    on = [strings.pluck(Due(0, s, key, VELOCITY[PLAIN]))[0].hex() for s, key in open_strings.items()]
    assert on == ["90 28 50", "90 2D 50", "90 32 50", "90 37 50", "90 3B 50", "90 40 50"]
    assert [m.hex() for m in strings.silence()] == [f"80 {key:02X} 00" for key in open_strings.values()]


def test_no_velocity_is_zero() -> None:
    """A note on with velocity 0 is a note off (MIDI 1.0): no stress and no click may have it; none exceeds 127."""
    used = [VELOCITY[s] for s in (SOFT, PLAIN, ACCENT)] + list(CLICK_VELOCITY.values())
    assert all(1 <= v <= 127 for v in used)
    assert [VELOCITY[SOFT], VELOCITY[PLAIN], VELOCITY[ACCENT]] == sorted({VELOCITY[s] for s in (SOFT, PLAIN, ACCENT)})
    score = bar(0, 120, plucks=[pluck(0, 6, 40, SOFT)])
    timed = TimedBar(0, Fraction(0), 0, 96000, score, Segment(Fraction(0), Fraction(120)))
    assert all(due.velocity > 0 for due in dues(timed, RATE))


def test_all_notes_off_is_controller_123() -> None:
    """All notes off: controller 123 with value 0, on all three channels in use."""
    assert [m.hex() for m in all_off()] == ["B0 7B 00", "B2 7B 00", "B9 7B 00"]

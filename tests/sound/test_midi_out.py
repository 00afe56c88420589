"""What goes out as MIDI: which bytes, when, and that no note is left hanging."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from coach.errors import CoachError
from coach.music.tempo import Segment
from coach.picking.plucks import ACCENT, SOFT
from coach.sound.clock import FakeClock
from coach.sound.device import SilentSpeaker
from coach.sound.engine import Engine
from coach.sound.midi_out import (
    TUNE,
    TUNE_CHANNEL,
    TUNE_PROGRAM,
    Due,
    MidiOut,
    Strings,
    _same,
    dues,
    list_ports,
    program_change,
)
from coach.sound.premix import TimedBar
from coach.sound.score import Tone
from tests.sound.hands import RATE, bar, picked_bar, pluck, until


class Port:
    """A port that remembers."""

    def __init__(self) -> None:
        self.sent: list[Any] = []
        self.closed = False
        self.broken = False

    def send(self, message: Any) -> None:
        """Remember it, or fail like a cable pulled out."""
        if self.broken:
            raise OSError("the cable is out")
        self.sent.append(message)

    def close(self) -> None:
        """Remember it."""
        self.closed = True

    def notes_on(self) -> list[tuple[int, int]]:
        """(channel, key) of every note on so far."""
        return [(m.channel, m.note) for m in self.sent if m.type == "note_on" and m.velocity > 0]


def timed(score: Any) -> TimedBar:
    """A bar as the engine times it, at a constant tempo from beat 0."""
    end = round(60 * score.beats / score.bpm_from * RATE)
    return TimedBar(score.number, Fraction(0), 0, end, score, Segment(Fraction(0), score.bpm_from))


@pytest.fixture
def follow() -> Iterator[tuple[FakeClock, Engine, Port, MidiOut]]:
    """An engine by a clock set by hand, followed by MIDI into a port that remembers."""
    clock, port = FakeClock(), Port()
    engine = Engine(SilentSpeaker(), RATE, clock=clock)
    out = MidiOut(open_port=lambda name: port, now=lambda: clock.seconds)
    yield clock, engine, port, out
    out.stop()
    engine.stop()


def test_program_and_channels() -> None:
    """Steel guitar is number 26 in the list, so byte 25; guitar on channel 1, click on 10, less one when sent."""
    assert program_change().bytes() == [0xC0, 25]
    events = dues(timed(bar(0, 60, plucks=[pluck(0, 6, 40)])), RATE)
    strings = Strings(RATE)
    status = {strings.pluck(due)[-1].bytes()[0] for due in events}
    assert status == {0x90, 0x99}


def test_dues_are_at_the_frames_of_the_sound() -> None:
    """At 137 bpm the off-beat of beat 2 is due at round(3/2 · 60/137 · 48000) = 31533."""
    events = dues(timed(bar(0, 137, plucks=[pluck("3/2", 2, 59)])), RATE)
    assert [d.frame for d in events if d.string == 2] == [31533]
    assert [(d.frame, d.key) for d in events if not d.string] == [(0, 76), (21022, 77), (42044, 77), (63066, 77)]


def test_stress_is_velocity() -> None:
    """Soft, plain and accented plucks have rising velocities."""
    plucks = [pluck(0, 1, 64, SOFT), pluck(1, 1, 64), pluck(2, 1, 64, ACCENT)]
    events = [d.velocity for d in dues(timed(bar(0, 60, plucks=plucks)), RATE, click=False)]
    assert events == sorted(set(events))


def test_a_string_plucked_again_ends_its_old_note() -> None:
    """A2 on string 5, then C3 on the same string: off A2 before on C3; another string in between ends nothing."""
    strings = Strings(RATE)
    first = strings.pluck(Due(0, 5, 45, 80))
    between = strings.pluck(Due(100, 4, 52, 80))
    again = strings.pluck(Due(200, 5, 48, 80))
    assert [(m.type, m.note) for m in first + between] == [("note_on", 45), ("note_on", 52)]
    assert [(m.type, m.note) for m in again] == [("note_off", 45), ("note_on", 48)]


def hummed(*tones: Tone) -> TimedBar:
    """A bar of 4 beats at 60 bpm with these hummed notes."""
    return timed(replace(bar(0, 60), tune=tones))


def test_the_tune_is_a_flute_on_a_channel_of_its_own() -> None:
    """Flute is number 74 in the list; channel 3 is sent as 2; D4 from beat 1 for two beats ends at beat 3 by itself."""
    events = [d for d in dues(hummed(Tone(Fraction(1), Fraction(2), 62)), RATE) if d.string == TUNE]
    assert [(d.frame, d.until) for d in events] == [(RATE, 3 * RATE)]
    strings = Strings(RATE)
    assert [m.bytes()[:2] for m in strings.pluck(events[0])] == [[0x92, 62]]
    assert strings.expire(3 * RATE - 1) == []
    assert [m.bytes()[:2] for m in strings.expire(3 * RATE)] == [[0x82, 62]]
    assert program_change(TUNE_CHANNEL, TUNE_PROGRAM).bytes() == [0xC2, 73]


def test_a_hummed_note_over_the_bar_line_is_held() -> None:
    """From beat 3 for three beats at 60 bpm: it ends two seconds into the next bar."""
    (events,) = [d for d in dues(hummed(Tone(Fraction(3), Fraction(3), 62)), RATE) if d.string == TUNE]
    assert events.until == 6 * RATE


def test_the_tune_and_a_string_on_one_key_do_not_end_each_other() -> None:
    """D4 hummed and plucked at once: two channels, so neither note off is held back."""
    strings = Strings(RATE)
    strings.pluck(Due(0, 2, 62, 80))
    strings.pluck(Due(0, TUNE, 62, 72, 10))
    assert [m.bytes()[:2] for m in strings.expire(10)] == [[0x82, 62]]
    assert [m.bytes()[:2] for m in strings.silence()] == [[0x80, 62]]


def test_without_the_guide_the_tune_is_not_sent() -> None:
    """Clicks alone: nothing on the tune's channel."""
    bars = hummed(Tone(Fraction(0), Fraction(1), 62))
    assert all(d.string == 0 for d in dues(bars, RATE, guide=False))


def test_a_unison_on_two_strings_is_one_key() -> None:
    """E4 on strings 1 and 2 is one key on the wire: ending one string must not silence the other."""
    strings = Strings(RATE)
    strings.pluck(Due(0, 1, 64, 80))
    assert [(m.type, m.note) for m in strings.pluck(Due(10, 2, 64, 80))] == [("note_off", 64), ("note_on", 64)]
    assert [(m.type, m.note) for m in strings.pluck(Due(20, 2, 62, 80))] == [("note_on", 62)]
    assert [(m.type, m.note) for m in strings.silence()] == [("note_off", 64), ("note_off", 62)]


def test_notes_end_after_their_ring() -> None:
    """A pluck not played again is ended after three and a half seconds, and once only."""
    strings = Strings(RATE)
    strings.pluck(Due(0, 6, 40, 80))
    assert strings.expire(3.4 * RATE) == []
    assert [m.note for m in strings.expire(3.6 * RATE)] == [40]
    assert strings.expire(9.0 * RATE) == []


def test_notes_go_out_as_the_clock_comes_to_them(follow: tuple[FakeClock, Engine, Port, MidiOut]) -> None:
    """Nothing of beat 2 before its time; a pinch goes out whole; and each note once."""
    clock, engine, port, out = follow
    out.start(engine)
    engine.start(lambda n: bar(n, 120, plucks=picked_bar()))
    assert until(lambda: len(port.notes_on()) == 3)
    assert sorted(port.notes_on()) == [(0, 48), (0, 64), (9, 76)]
    clock.seconds = 0.4
    assert not until(lambda: len(port.notes_on()) > 3, 0.1)
    clock.seconds = 0.501
    assert until(lambda: len(port.notes_on()) == 5)
    assert sorted(port.notes_on()[3:]) == [(0, 52), (9, 77)]
    for step in range(11, 42):  # 2.1 s: into the second bar
        clock.seconds = step * 0.05
        until(lambda: False, 0.01)
    assert until(lambda: len(port.notes_on()) == 12 + 3)


def test_stop_leaves_no_note_hanging(follow: tuple[FakeClock, Engine, Port, MidiOut]) -> None:
    """After stop every key that went on went off, all notes off was sent, and the port is closed."""
    _, engine, port, out = follow
    out.start(engine)
    engine.start(lambda n: bar(n, 120, plucks=picked_bar()))
    assert until(lambda: len(port.notes_on()) == 3)
    out.stop()
    hanging = set()
    for message in port.sent:
        if message.type == "note_on":
            hanging.add((message.channel, message.note))
        elif message.type == "note_off":
            hanging.discard((message.channel, message.note))
    assert hanging == set()
    assert [m.bytes() for m in port.sent[-3:]] == [[0xB0, 123, 0], [0xB2, 123, 0], [0xB9, 123, 0]]
    assert port.closed


def test_a_broken_port_is_told_and_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """A cable pulled out is one sentence; the engine does not notice; put in again, the notes go on from there."""
    monkeypatch.setattr("coach.sound.midi_out.AGAIN_S", 0.1)
    clock, ports, troubles = FakeClock(), [Port()], []
    engine = Engine(SilentSpeaker(), RATE, clock=clock)
    out = MidiOut(open_port=lambda name: ports[-1], now=lambda: clock.seconds, on_trouble=troubles.append)
    out.start(engine)
    engine.start(lambda n: bar(n, 120))
    assert until(lambda: len(ports[0].notes_on()) == 1)
    ports[0].broken = True
    clock.seconds = 0.6
    assert until(lambda: bool(troubles))
    assert troubles == ["MIDI has stopped (the cable is out); it is tried again."]
    assert ports[0].closed
    assert engine.running
    ports.append(Port())
    assert until(lambda: len(troubles) == 2)
    assert troubles[1] == "MIDI is back."
    clock.seconds = 2.01
    assert until(lambda: bool(ports[1].notes_on()))
    out.stop()
    engine.stop()


def test_a_port_that_vanishes_and_returns_in_the_middle_of_a_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twenty times: a driver takes what is sent to a port that has gone, so the list of outputs is what tells."""
    monkeypatch.setattr("coach.sound.midi_out.LOOK_AGAIN_S", 0.01)
    monkeypatch.setattr("coach.sound.midi_out.AGAIN_S", 0.01)
    clock, troubles, opened = FakeClock(), [], []
    engine = Engine(SilentSpeaker(), RATE, clock=clock)
    there = [True]

    def open_port(_: str | None) -> Port:
        if not there[0]:
            raise CoachError("there is no MIDI output 'harbour'")
        port = Port()
        port.name = "harbour"  # type: ignore[attr-defined]
        opened.append(port)
        return port

    out = MidiOut(
        "harbour",
        open_port=open_port,
        names=lambda: ["harbour"] if there[0] else [],
        now=lambda: clock.seconds,
        on_trouble=troubles.append,
    )
    out.start(engine)
    engine.start(lambda n: bar(n, 120, plucks=picked_bar()))
    for time in range(20):
        assert until(lambda: bool(opened) and bool(opened[-1].notes_on()), 10), f"no note after return {time}"
        there[0] = False
        assert until(lambda n=time: len(troubles) == 2 * n + 1, 10), troubles
        assert "has gone" in troubles[-1]
        assert opened[-1].closed
        clock.seconds += 1.0
        assert engine.running
        there[0] = True
        assert until(lambda n=time: len(troubles) == 2 * n + 2, 10), troubles
        assert troubles[-1] == "MIDI is back."
        clock.seconds += 0.51
    assert len(opened) == 21
    out.stop()
    engine.stop()


def test_an_instrument_connected_again_is_the_same_one() -> None:
    """The numbers that the driver puts behind a name differ each time; a name that says more goes before."""
    assert _same("Lark:Lark 1 20:0", ["Owl:Owl 1 20:0", "Lark:Lark 1 24:0"]) == "Lark:Lark 1 24:0"
    assert _same("Lark:Lark 1 20:0", ["Lark:Lark 1 24:0", "Lark:Lark 1 20:0"]) == "Lark:Lark 1 20:0"
    assert _same("Lark", ["Owl:Owl 1 20:0", "Lark:Lark 1 24:0"]) == "Lark:Lark 1 24:0"
    assert _same("Wren", ["Owl:Owl 1 20:0"]) is None


def test_a_port_that_is_not_there_is_one_sentence() -> None:
    """A name that no output has is told once, whether there are other outputs or none, and the run goes on."""
    clock, troubles = FakeClock(), []
    engine = Engine(SilentSpeaker(), RATE, clock=clock)
    out = MidiOut("no such instrument", on_trouble=troubles.append)
    out.start(engine)
    engine.start(lambda n: bar(n, 120))
    assert until(lambda: bool(troubles), 20)
    assert "MIDI" in troubles[0]
    assert engine.running
    out.stop()
    engine.stop()


def test_list_ports_always_answers() -> None:
    """The list of ports has inputs and outputs, empty where there is no MIDI, and never raises."""
    ports = list_ports()
    assert set(ports) == {"inputs", "outputs"}
    assert all(isinstance(name, str) for names in ports.values() for name in names)

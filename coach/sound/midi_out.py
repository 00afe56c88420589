"""The same stream as MIDI: the guide on channel 1 as a steel-string guitar, the hummed tune on channel 3 as a flute,
the click on channel 10 as wood blocks; the same channels and programs as in our MIDI files.

Times come from the engine's clock: a thread waits until the wall time at which a frame sounds and sends then.
`mido` and its driver are imported only when a port is asked for. Numbers on the wire are one less than those in
the General MIDI list: program 26 (acoustic guitar, steel) is data byte 25, 74 (flute) is 73, channel 10 is 9.
"""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Protocol

from coach.errors import CoachError
from coach.picking.plucks import ACCENT, PLAIN, SOFT
from coach.sound import silence
from coach.sound.clock import Clock
from coach.sound.premix import TimedBar
from coach.sound.score import BEAT, DOWN, Tone
from coach.sound.strings import LENGTH_S

PROGRAM, TUNE_PROGRAM = 25, 73
GUITAR_CHANNEL, TUNE_CHANNEL, CLICK_CHANNEL = 0, 2, 9
CLICK, TUNE = 0, 7  # what stands for the string of a click and of a hummed note
TUNE_VELOCITY = 72
CLICK_KEY = {DOWN: 76, BEAT: 77}  # high and low wood block
CLICK_VELOCITY = {DOWN: 100, BEAT: 84}
VELOCITY = {SOFT: 48, PLAIN: 80, ACCENT: 112}
LOOK_AGAIN_S = 0.25  # so often it is looked whether the port is still there
AGAIN_S = 0.5  # a port that was lost is tried again so often
FIRST_AGAIN_S = 3.0  # one that was never there
_CLICK_S = 0.05
_LOOK_S = 0.03  # bars are read this far ahead at most: later than any change of theirs
_TICK_S = 0.02
# Through JACK the first messages on a new port arrive as copies of the first of them where they are sent at once.
_APART_S = 0.05
_NUMBERS = re.compile(r" \d+:\d+$")


class Run(Protocol):
    """What is followed: the engine."""

    rate: int

    @property
    def clock(self) -> Clock:
        """The clock of the run."""

    @property
    def timeline(self) -> tuple[TimedBar, ...]:
        """Bars begun and mixed."""


@dataclass(frozen=True)
class Due:
    """Something to send when `frame` sounds: a pluck on a string (6 to 1), a click (CLICK) or a hummed note (TUNE).

    until  the frame at which a hummed note ends; None for what rings out by itself
    """

    frame: int
    string: int
    key: int
    velocity: int
    until: int | None = None

    @property
    def channel(self) -> int:
        """The channel it goes out on, counted from 0."""
        return {CLICK: CLICK_CHANNEL, TUNE: TUNE_CHANNEL}.get(self.string, GUITAR_CHANNEL)


def program_change(channel: int = GUITAR_CHANNEL, program: int = PROGRAM) -> Any:
    """The message that chooses an instrument, for the guitar `C0 19`."""
    import mido

    return mido.Message("program_change", channel=channel, program=program)


def note_message(due: Due, *, on: bool) -> Any:
    """Note on or note off for something due."""
    import mido

    if on:
        return mido.Message("note_on", channel=due.channel, note=due.key, velocity=due.velocity)
    return mido.Message("note_off", channel=due.channel, note=due.key, velocity=0)


def all_off() -> list[Any]:
    """All notes off (controller 123) on all three channels."""
    import mido

    channels = (GUITAR_CHANNEL, TUNE_CHANNEL, CLICK_CHANNEL)
    return [mido.Message("control_change", channel=c, control=123, value=0) for c in channels]


def dues(bar: TimedBar, rate: int, *, click: bool = True, guide: bool = True) -> list[Due]:
    """Everything a bar sends, by frame; the same round(t · rate) as the sound.

    A hummed note that goes on over the bar line ends as if the tempo at the bar's end went on.
    """

    def frame(beat: Fraction) -> int:
        return round(bar.segment.seconds(bar.start_beat + beat) * rate)

    def end(tone: Tone) -> int:
        last = tone.beat + tone.length
        over = max(last - bar.score.beats, Fraction(0))
        return frame(last - over) + round(over * 60 / bar.score.bpm_to * rate)

    found = []
    if click:
        found += [Due(frame(s.beat), CLICK, CLICK_KEY[s.kind], CLICK_VELOCITY[s.kind]) for s in bar.score.strokes]
    if guide:
        found += [Due(frame(p.sounds_at), p.string, p.midi, VELOCITY[p.stress]) for p in bar.score.plucks]
        found += [Due(frame(t.beat), TUNE, t.midi, TUNE_VELOCITY, end(t)) for t in bar.score.tune]
    return sorted(found, key=lambda d: d.frame)


class Strings:
    """Which string sounds which key until when; says what must be sent. Pure, so it can be tested by hand."""

    def __init__(self, rate: int) -> None:
        self._rate = rate
        self._sounding: dict[int, tuple[Due, int]] = {}

    def pluck(self, due: Due) -> list[Any]:
        """Messages for one thing due: what it cuts off, then itself."""
        old = self._sounding.pop(due.string, None)
        out = [] if old is None else self._off(old[0])
        if self._held(due):
            out.append(note_message(due, on=False))
        ring_s = LENGTH_S if due.string else _CLICK_S
        until = due.frame + round(ring_s * self._rate) if due.until is None else due.until
        self._sounding[due.string] = (due, until)
        return [*out, note_message(due, on=True)]

    def expire(self, frame: float) -> list[Any]:
        """Notes off for what has rung out by `frame`."""
        done = [string for string, (_, until) in self._sounding.items() if until <= frame]
        return [message for string in done for message in self._off(self._sounding.pop(string)[0])]

    def silence(self) -> list[Any]:
        """Notes off for all that sounds."""
        off = [note_message(due, on=False) for due, _ in self._sounding.values()]
        self._sounding.clear()
        return off

    def _held(self, due: Due) -> bool:
        """Does another string sound the same key? On one channel they are the same note."""
        if due.channel != GUITAR_CHANNEL:
            return False
        return any(d.key == due.key and d.channel == GUITAR_CHANNEL for d, _ in self._sounding.values())

    def _off(self, due: Due) -> list[Any]:
        return [] if self._held(due) else [note_message(due, on=False)]


class MidiOut:
    """Sends one run (`start` it anew for each) to the MIDI output `port_name` (the first one there is, when None).

    A port that is not there, or goes in the middle of the run, is told once, looked for again and again, and taken
    back when it returns; the run goes on meanwhile. `offset_s` delays (or hastens) what is sent, for an instrument that
    answers faster or slower than the speaker. `on_trouble` is called on this object's own thread. For tests:
    `open_port` opens a port, and `names` tells the names of the outputs there are now.
    """

    def __init__(
        self,
        port_name: str | None = None,
        *,
        click: bool = True,
        guide: bool = True,
        offset_s: float = 0.0,
        on_trouble: Callable[[str], None] | None = None,
        open_port: Callable[[str | None], Any] | None = None,
        names: Callable[[], Sequence[str]] | None = None,
        now: Callable[[], float] = time.perf_counter,
    ) -> None:
        self.port_name = port_name
        self.click, self.guide, self.offset_s = click, guide, offset_s
        self._on_trouble = on_trouble
        self._open_port = open_port if open_port is not None else _open_output
        self._names = names if names is not None or open_port is not None else _Outputs()
        self._now = now
        self._halt = threading.Event()
        self._thread: threading.Thread | None = None
        self._looked = 0.0

    def start(self, run: Run) -> None:
        """Follow `run` from now on; returns at once."""
        self.stop()
        self._halt = threading.Event()
        words = (run, self._halt)
        self._thread = threading.Thread(target=self._follow, args=words, name="coach-midi", daemon=True)
        silence.begins(self)
        self._thread.start()

    def stop(self, *, wait: bool = True) -> None:
        """All notes off, and close the port; harmless when nothing is sent. Without `wait` it returns at once."""
        thread = self._thread
        self._halt.set()
        if wait and thread is not None and thread is not threading.current_thread():
            thread.join(2.0)

    def cut(self) -> None:
        """The same as to stop: only the thread that sends may send the last notes off."""
        self._halt.set()

    def _follow(self, run: Run, halt: threading.Event) -> None:
        """Send to the port for as long as there is one, and look for it while there is none."""
        told, had, sent_to = "", False, 0  # everything before frame `sent_to` has been sent
        try:
            while not halt.is_set():
                try:
                    port = self._open_port(self.port_name)
                except CoachError as error:
                    if not told:
                        told = str(error)
                        self._say(told)
                    halt.wait(AGAIN_S if had else FIRST_AGAIN_S)
                    continue
                if told:
                    self._say("MIDI is back.")
                had = True
                strings = Strings(run.rate)
                try:
                    sent_to = self._send(run, port, strings, halt, sent_to)
                    told = "" if halt.is_set() else f"The MIDI output '{_name(port)}' has gone; it is looked for again."
                except Exception as error:
                    told = f"MIDI has stopped ({error}); it is tried again."
                finally:
                    _close(port, strings)
                if told:
                    self._say(told)
                    halt.wait(AGAIN_S)
        finally:
            if isinstance(self._names, _Outputs):
                self._names.close()
            if self._halt is halt:
                silence.ends(self)

    def _send(self, run: Run, port: Any, strings: Strings, halt: threading.Event, sent_to: int) -> int:
        """Send what is due from frame `sent_to` on until `halt`, or until the port has gone; how far it has sent."""
        off = all_off() if sent_to else []  # what sounded when the port was lost
        for message in [*off, program_change(), program_change(TUNE_CHANNEL, TUNE_PROGRAM)]:
            port.send(message)
            halt.wait(_APART_S)
        while not halt.is_set():
            if not self._stands(port):
                return sent_to
            clock = run.clock
            if not clock.running:  # not yet, or not any more
                for message in strings.silence():
                    port.send(message)
                halt.wait(_TICK_S / 4)
                continue
            here = clock.frame_at(self._now() - self.offset_s)
            for message in strings.expire(here):
                port.send(message)
            nap = _TICK_S
            for due in _between(run, sent_to, here + _LOOK_S * run.rate, click=self.click, guide=self.guide):
                wait = clock.wall_at(due.frame) + self.offset_s - self._now()
                if wait > 0.0005:
                    nap = min(wait, _TICK_S)
                    break
                sent_to = due.frame + 1
                if wait > -LENGTH_S / 10:  # what is long past (a sound card or a port was lost) is left out
                    for message in strings.pluck(due):
                        port.send(message)
            halt.wait(nap)
        return sent_to

    def _stands(self, port: Any) -> bool:
        """False when the port has gone: a driver tells nobody, and takes what is sent to it all the same."""
        now = time.monotonic()
        if self._names is None or now - self._looked < LOOK_AGAIN_S:
            return True
        self._looked = now
        try:
            return _name(port) in self._names()
        except Exception:  # it could not be looked; the sending will show
            return True

    def _say(self, sentence: str) -> None:
        if self._on_trouble is not None:
            self._on_trouble(sentence)


class _Outputs:
    """The names of the outputs there are now, asked of one client of the driver for the whole run."""

    def __init__(self) -> None:
        self._client: Any = None

    def __call__(self) -> Sequence[str]:
        if self._client is None:
            import mido
            import rtmidi

            asked = getattr(rtmidi, f"API_{mido.backend.api}", rtmidi.API_UNSPECIFIED)
            self._client = rtmidi.MidiOut(rtapi=asked)
        names: Sequence[str] = self._client.get_ports()
        return names

    def close(self) -> None:
        """Let the client go."""
        client, self._client = self._client, None
        if client is not None:
            with suppress(Exception):
                client.delete()


def _name(port: Any) -> str:
    """What the driver calls an open port."""
    return str(getattr(port, "name", ""))


def _between(run: Run, start: int, end: float, *, click: bool, guide: bool) -> list[Due]:
    """What is due in start <= frame < end."""
    found: list[Due] = []
    for bar in reversed(run.timeline):
        if bar.end_frame < start:
            break
        if bar.start_frame < end:
            found += [d for d in dues(bar, run.rate, click=click, guide=guide) if start <= d.frame < end]
    return sorted(found, key=lambda d: d.frame)


def _close(port: Any, strings: Strings) -> None:
    try:
        with suppress(Exception):  # where the port is gone there is nobody left to be silenced
            for message in [*strings.silence(), *all_off()]:
                port.send(message)
    finally:
        with suppress(Exception):
            port.close()


def _open_output(name: str | None) -> Any:
    try:
        import mido

        names = mido.get_output_names()
    except Exception as error:
        raise CoachError(f"MIDI is not to be had here ({error})", mend="install python-rtmidi") from None
    if not names:
        raise CoachError("there is no MIDI output", mend="connect an instrument or start a synthesizer")
    chosen = names[0] if name is None else _same(name, names)
    if chosen is None:
        raise CoachError(f"there is no MIDI output '{name}'", mend="use one of " + ", ".join(names))
    try:
        return mido.open_output(chosen)
    except Exception as error:
        raise CoachError(
            f"the MIDI output '{chosen}' cannot be opened ({error})", mend="see whether another program holds it"
        ) from None


def _same(name: str, names: Sequence[str]) -> str | None:
    """The output of that name; else the one that differs only in the numbers at its end, which a driver gives anew each
    time an instrument is connected; else one whose name begins so."""
    bare = _NUMBERS.sub("", name)
    found = [n for n in names if n == name] or [n for n in names if _NUMBERS.sub("", n) == bare]
    return next(iter(found or [n for n in names if n.startswith(name)]), None)


def list_ports() -> dict[str, list[str]]:
    """MIDI ports here: {"inputs": [...], "outputs": [...]}, empty where there is no MIDI; never raises."""
    from coach.sound.device import quiet_drivers

    try:
        import mido

        with quiet_drivers():
            return {"inputs": list(mido.get_input_names()), "outputs": list(mido.get_output_names())}
    except Exception:
        return {"inputs": [], "outputs": []}

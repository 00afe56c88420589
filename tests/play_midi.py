"""A program for the tests with a real sound server: sends bars through JACK MIDI to itself and prints what arrives.

    python -m tests.play_midi BARS          (on a JACK server; the silent speaker keeps the time)
"""

from __future__ import annotations

import sys
import time

import mido

from coach.sound.device import SilentSpeaker
from coach.sound.engine import Engine
from coach.sound.midi_out import MidiOut, list_ports
from tests.sound.hands import bar, picked_bar, until


def main(bars: int) -> None:
    """Send, listen, and print `got SECONDS BYTES` for each message that came, in seconds since the first frame."""
    mido.set_backend("mido.backends.rtmidi/UNIX_JACK")
    got: list[tuple[float, str]] = []
    ear = mido.open_input("ear", client_name="listener", virtual=True)
    ear.callback = lambda message: got.append((time.perf_counter(), message.hex()))
    name = next(n for n in list_ports()["outputs"] if "listener" in n)
    engine = Engine(SilentSpeaker())
    out = MidiOut(name, on_trouble=lambda sentence: print("trouble", sentence))
    out.start(engine)
    engine.start(lambda n: bar(n, 120, plucks=picked_bar()) if n < bars else None)
    until(lambda: engine.clock.running)
    origin = engine.clock.wall_at(0)
    engine.wait_quiet(2 * bars + 10)
    out.stop()
    time.sleep(0.2)
    ear.close()
    for when, message in got:
        print("got", f"{when - origin:.6f}", message)


if __name__ == "__main__":
    main(int(sys.argv[1]))

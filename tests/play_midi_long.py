"""Programs for a MIDI port that vanishes and returns, on a JACK server: an instrument, and what plays to it.

    python -m tests.play_midi_long ear            an instrument: prints a line for each note that comes
    python -m tests.play_midi_long play NAME      plays bars to the output of that name until it is ended, and prints
                                                  what it has to say
"""

from __future__ import annotations

import sys
import threading
from typing import Any

import mido

from coach.sound.device import SilentSpeaker
from coach.sound.engine import Engine
from coach.sound.midi_out import MidiOut
from tests.sound.hands import bar, picked_bar


def be_instrument() -> None:
    """Until it is killed."""

    def note(message: Any) -> None:
        if message.type == "note_on":
            print("note", message.note, flush=True)

    ear = mido.open_input("ear", client_name="instrument", virtual=True)
    ear.callback = note
    print("ready", flush=True)
    threading.Event().wait()


def play_to(name: str) -> None:
    """Until it is killed."""
    engine = Engine(SilentSpeaker())
    out = MidiOut(name, on_trouble=lambda sentence: print("says", sentence, flush=True))
    engine.start(lambda n: bar(n, 240, plucks=picked_bar()))
    out.start(engine)
    threading.Event().wait()


if __name__ == "__main__":
    mido.set_backend("mido.backends.rtmidi/UNIX_JACK")
    be_instrument() if sys.argv[1] == "ear" else play_to(sys.argv[2])

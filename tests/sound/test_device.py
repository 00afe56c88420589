"""Finding something to play on: never an exception, never a word on the terminal, imported only when needed."""

from __future__ import annotations

import subprocess
import sys
import types

import pytest

from coach.errors import CoachError
from coach.sound.device import MiniaudioSpeaker, SilentSpeaker, describe_devices, open_speaker


class FakeError(Exception):
    """Stands for the binding's own error."""


def fake_library(monkeypatch: pytest.MonkeyPatch, device: object) -> None:
    """Put a library with this device in the place of miniaudio."""
    fake = types.ModuleType("miniaudio")
    fake.PlaybackDevice = device  # type: ignore[attr-defined]
    fake.SampleFormat = types.SimpleNamespace(FLOAT32="float32")  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "miniaudio", fake)


def test_asks_for_small_stereo_float_buffers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two channels of 32-bit floats, 40 ms buffers, three deep: 120 ms of latency; the generator never ends."""
    asked: dict[str, object] = {}

    class Device:
        backend = "Somewhere"

        def __init__(self, **wanted: object) -> None:
            asked.update(wanted)

        def start(self, generator: object) -> None:
            asked["sent"] = [generator.send(n) for n in (3, 5)]  # type: ignore[attr-defined]

        def close(self) -> None:
            asked["closed"] = True

    fake_library(monkeypatch, Device)
    speaker = MiniaudioSpeaker()
    speaker.open(48000, 2, lambda frames: b"x" * frames)
    assert asked["output_format"] == "float32"
    assert (asked["nchannels"], asked["sample_rate"], asked["buffersize_msec"]) == (2, 48000, 40)
    assert asked["app_name"] == "coach"
    assert asked["sent"] == [b"xxx", b"xxxxx"]
    assert speaker.latency_s == pytest.approx(0.120)
    assert speaker.name == "Somewhere"
    speaker.close()
    speaker.close()
    assert asked["closed"]


@pytest.mark.parametrize("words", ["failed to init device", "cannot init context", "can't get device info"])
def test_no_device_is_one_sentence(monkeypatch: pytest.MonkeyPatch, words: str) -> None:
    """Whatever the library says, the player reads one sentence, and the program goes on with silence."""

    def device(**wanted: object) -> None:
        raise FakeError(words)

    fake_library(monkeypatch, device)
    with pytest.raises(CoachError, match=r"no sound can be played here .*sound server"):
        MiniaudioSpeaker().open(48000, 2, lambda frames: b"")
    assert isinstance(open_speaker(), SilentSpeaker)


def test_the_empty_back_end_is_not_a_device(monkeypatch: pytest.MonkeyPatch) -> None:
    """A back end that swallows everything counts as none."""
    fake_library(monkeypatch, lambda **wanted: types.SimpleNamespace(backend="Null", close=lambda: None))
    assert isinstance(open_speaker(), SilentSpeaker)


def test_a_library_that_is_missing_is_silence(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the sound library everything else works."""
    monkeypatch.setitem(sys.modules, "miniaudio", None)
    assert isinstance(open_speaker(), SilentSpeaker)
    assert describe_devices()["devices"] == []


def test_doctor_gets_an_answer_and_the_terminal_stays_clean() -> None:
    """In a fresh process: the description has its fields, and no driver has written a word to descriptor 2."""
    code = (
        "from coach.sound.device import describe_devices, open_speaker; d = describe_devices();"
        "assert {'backend', 'devices'} <= set(d); assert isinstance(d['devices'], list); open_speaker().close()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""


def test_nothing_is_imported_before_it_is_needed() -> None:
    """In a fresh process the device and MIDI modules drag in neither miniaudio nor mido; the timing not even numpy."""
    code = (
        "import sys, coach.sound.timing, coach.sound.clock, coach.sound.score; assert 'numpy' not in sys.modules;"
        "import coach.sound.engine, coach.sound.device, coach.sound.midi_out;"
        "assert not {'miniaudio', 'mido', 'rtmidi', 'textual'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr

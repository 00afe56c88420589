"""Where the sound goes: a real output device, or silence with the same face.

`miniaudio` is imported only when a device is really looked for. What is known about it and minded here: mono fails
on some servers, so always two channels; its buffer is 200 ms unless told; a generator that raises or ends is dropped
without a word, so ours does neither; drivers print to file descriptor 2 while they are looked for.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager, suppress
from typing import Any, Protocol

from coach.errors import CoachError

Fill = Callable[[int], bytes]

BUFFER_MS = 40
PERIODS = 3  # so many buffers lie between the callback and the ear
APP_NAME = "coach"


class Speaker(Protocol):
    """Asks `fill(frames)` for float32 interleaved bytes, again and again, on a thread of its own."""

    @property
    def name(self) -> str:
        """What to call it when speaking to the player."""

    @property
    def silent(self) -> bool:
        """True when it never calls `fill`: the engine then goes by the computer's timer."""

    @property
    def latency_s(self) -> float:
        """From a callback to the ear, in seconds."""

    @property
    def period_s(self) -> float:
        """One buffer, in seconds."""

    def open(self, rate: int, channels: int, fill: Fill) -> None:
        """Start asking. Raises CoachError when the device cannot be had."""

    def close(self) -> None:
        """Stop asking; harmless when closed already."""


class SilentSpeaker:
    """No sound at all, for a machine without a sound card and for tests."""

    name = "no sound"
    silent = True
    latency_s = 0.0
    period_s = 0.0

    def open(self, rate: int, channels: int, fill: Fill) -> None:
        """Nothing to start."""

    def close(self) -> None:
        """Nothing to stop."""


class MiniaudioSpeaker:
    """The system's default output. `buffer_ms` is one buffer; `PERIODS` of them are the latency."""

    silent = False

    def __init__(self, buffer_ms: int = BUFFER_MS) -> None:
        self._buffer_ms = buffer_ms
        self._device: Any = None
        self._rate = 0
        self.name = "sound card"

    @property
    def period_s(self) -> float:
        """One buffer, in seconds."""
        return self._buffer_ms / 1000

    @property
    def latency_s(self) -> float:
        """Periods times buffer: the binding does not tell what the device really has."""
        return PERIODS * self.period_s

    def prepare(self, rate: int, channels: int = 2) -> None:
        """Get hold of the device without starting it. Raises CoachError when there is none."""
        if self._device is not None and self._rate == rate:
            return
        self.close()
        try:
            import miniaudio
        except ImportError:
            raise CoachError("the sound library is missing", mend="install miniaudio to hear something") from None
        why: object = "nothing answers"
        for backends in _choices(miniaudio):
            try:
                with quiet_drivers():
                    device = miniaudio.PlaybackDevice(
                        output_format=miniaudio.SampleFormat.FLOAT32,
                        nchannels=channels,
                        sample_rate=rate,
                        buffersize_msec=self._buffer_ms,
                        backends=backends,
                        app_name=APP_NAME,
                    )
            except Exception as error:  # MiniaudioError -401, -203, "can't get device info", and what drivers throw
                why = error if backends is None else why
                continue
            if device.backend.lower() != "null":
                self._device, self._rate, self.name = device, rate, str(device.backend)
                return
            device.close()
        raise _no_device(why)

    def open(self, rate: int, channels: int, fill: Fill) -> None:
        """Start asking `fill`. Raises CoachError when the device cannot be had or started."""
        self.prepare(rate, channels)
        asking = _asking(fill)
        next(asking)
        try:
            with quiet_drivers():
                self._device.start(asking)
        except Exception as error:
            self.close()
            raise _no_device(error) from None

    def close(self) -> None:
        """Stop and let go. A device whose server has died may raise or take its time; neither matters here."""
        device, self._device = self._device, None
        if device is not None:
            with suppress(Exception), quiet_drivers():
                device.close()


def _choices(miniaudio: Any) -> tuple[Any, ...]:
    """What to try, in order: the library's own choice, then JACK alone.

    The library settles on the first back end that is installed, be there a device behind it or not: where ALSA is
    installed and has no card (or the card is JACK's), it never comes to ask JACK by itself.
    """
    jack = getattr(getattr(miniaudio, "Backend", None), "JACK", None)
    return (None,) if jack is None else (None, [jack])


def _asking(fill: Fill) -> Generator[bytes, int, None]:
    """The generator the binding wants; it never ends, and `fill` never raises."""
    frames = yield b""
    while True:
        frames = yield fill(frames)


def _no_device(why: object) -> CoachError:
    return CoachError(
        f"no sound can be played here ({why})",
        mend="check that a sound card or sound server is running; all else works silently",
    )


def open_speaker(rate: int = 48000, *, buffer_ms: int = BUFFER_MS) -> Speaker:
    """The sound card if there is one to be had, else silence; never raises."""
    speaker = MiniaudioSpeaker(buffer_ms)
    try:
        speaker.prepare(rate)
    except CoachError:
        return SilentSpeaker()
    return speaker


def describe_devices() -> dict[str, object]:
    """What there is to play on: {"backend": name or None, "devices": [names], "problem": sentence}; never raises."""
    why: object = "nothing answers"
    try:
        import miniaudio
    except ImportError as error:
        return {"backend": None, "devices": [], "problem": str(_no_device(error))}
    for backends in _choices(miniaudio):
        try:
            with quiet_drivers():
                found = miniaudio.Devices(backends)
                names = [str(device["name"]) for device in found.get_playbacks()]
        except Exception as error:
            why = error if backends is None else why
            continue
        if names and found.backend.lower() != "null":
            return {"backend": str(found.backend), "devices": names, "problem": ""}
    return {"backend": None, "devices": [], "problem": str(_no_device(why))}


@contextmanager
def quiet_drivers() -> Iterator[None]:
    """Nothing written to file descriptor 2 meanwhile: sound drivers print pages there while they are looked for.

    Where the screen has already moved its own error stream to another descriptor (`sys.__stderr__` is not 2), nobody
    sees descriptor 2 any more and it is left alone.
    """
    spare = sys.__stderr__
    try:
        apart = spare is None or spare.fileno() != 2
        kept = -1 if apart else os.dup(2)
    except (OSError, ValueError):
        apart, kept = True, -1
    if apart:
        yield
        return
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)

"""A recording into samples: WAV by ourselves, whatever else by a library where one is installed.

What a file says of itself is checked before anything is held, and what it turns out to be while it streams in: it may
lie about its length, and a small packed file may hold hours.
"""

from __future__ import annotations

import math
import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from coach.errors import BadInput, reason
from coach.sound.device import quiet_drivers

SLOWEST_RATE, FASTEST_RATE = 8000, 192000
FINEST_RATE = 48000  # recordings with more samples a second are thinned: the ear listens up to 16 kHz
LEAST_S, MOST_S = 1.0, 900.0  # what is heard is laid beside what is meant in one table, which grows with both
MOST_CHANNELS = 64
SILENT = 1e-4  # -80 dB below full scale
LOUDEST = 2.0**31  # full scale is 1; some programs write whole numbers of 32 bits as floats

_SAMPLES = 1 << 18  # read at a stroke, all channels together
_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_UNKNOWN = 1 << 40  # a library that does not know how many frames there are says some such number
_MEND = "give a recording as WAV, FLAC, Ogg or MP3"


@dataclass(frozen=True)
class Recording:
    """(frames,) mono samples, -1..1, at `rate` Hz; `note` is a sentence where the file broke off, else empty."""

    samples: NDArray[np.float32]
    rate: int
    note: str = ""

    @property
    def seconds(self) -> float:
        """How long it is."""
        return len(self.samples) / self.rate


@dataclass(frozen=True)
class _Opened:
    """A recording about to be read: what it says of itself, `frames` 0 where it does not say how long it is, and its
    sound in blocks (frames, channels)."""

    rate: int
    channels: int
    frames: int
    blocks: Iterator[NDArray[Any]]


def read_recording(path: Path) -> Recording:
    """Read a recording and mix it to mono, thinned to `FINEST_RATE` at most.

    Raises BadInput when it is none, too short, too long, silent, or of more channels than can be mixed.
    """
    try:
        if not path.exists():
            raise BadInput("there is no such file", mend=_MEND)
        if path.is_dir():
            raise BadInput("this is a folder, not a recording", mend=_MEND)
        if not path.stat().st_size:
            raise BadInput("the file is empty", mend=_MEND)
        with path.open("rb") as raw:
            head = raw.read(12)
            if head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE":
                opened = _wav(raw)
                if opened is not None:
                    return _held(opened)
        return _decoded(path)
    except OSError as error:
        raise BadInput(f"cannot be read ({reason(error)})", where=str(path), mend="check the path") from None
    except BadInput as error:
        raise error.at(str(path)) from None


def _held(opened: _Opened) -> Recording:
    """The sound of an opened recording. Raises BadInput as soon as it shows that it cannot be heard."""
    _check_form(opened.channels, opened.rate)
    step = _step(opened.rate)
    rate = opened.rate // step
    if opened.frames > MOST_S * opened.rate:
        raise _too_long()
    room = math.ceil(MOST_S * opened.rate)
    # Memory that is never written to is never taken: room for the longest costs a short one nothing.
    samples = np.empty(room // step + 1, np.float32)
    thin = _Thinning(step)
    read = filled = 0
    peak = 0.0
    with np.errstate(all="ignore"):
        for block in opened.blocks:
            if not np.isfinite(block).all():
                raise BadInput("the recording holds samples that are no numbers", mend="save it anew")
            if (loud := float(np.abs(block).max(initial=0.0))) > LOUDEST:
                raise BadInput(f"samples of {loud:.0e} are no sound: full scale is 1", mend="save it anew")
            read += len(block)
            if read > room:
                raise _too_long()
            mono = block.mean(axis=1, dtype=np.float32)
            peak = max(peak, float(np.abs(mono).max(initial=0.0)))
            row = thin(mono)
            samples[filled : filled + len(row)] = row
            filled += len(row)
    row = thin.rest()[: len(samples) - filled]
    samples[filled : filled + len(row)] = row
    found = Recording(samples[: filled + len(row)], rate, _broken_off(opened, read))
    if found.seconds < LEAST_S:
        raise BadInput(f"{found.seconds:.2f} s is too short to hear anything in", mend="play on")
    if peak < SILENT:
        raise BadInput("the recording is silent", mend="see that the microphone is on")
    return found


def _check_form(channels: int, rate: int) -> None:
    if channels > MOST_CHANNELS:
        what = f"{channels} channels are more than can be mixed here"
        raise BadInput(what, mend=f"record in {MOST_CHANNELS} channels at most, best in one")
    if not SLOWEST_RATE <= rate <= FASTEST_RATE:
        what = f"{rate} samples a second cannot be heard here"
        raise BadInput(what, mend=f"record at {SLOWEST_RATE} to {FASTEST_RATE}")


def _broken_off(opened: _Opened, read: int) -> str:
    if read + LEAST_S * opened.rate >= opened.frames:
        return ""
    there, said = read / opened.rate, opened.frames / opened.rate
    return f"the recording breaks off after {there:.1f} of {said:.1f} s: what is there is heard."


def _too_long() -> BadInput:
    return BadInput(f"a recording of more than {MOST_S / 60:.0f} minutes is too much", mend="cut out the take")


def _step(rate: int) -> int:
    """Every how many samples one is kept. Raises BadInput where no whole number makes a rate of it."""
    least = math.ceil(rate / FINEST_RATE)
    step = next((s for s in range(least, rate // SLOWEST_RATE + 1) if rate % s == 0), 0)
    if not step:
        raise BadInput(f"{rate} samples a second cannot be heard here", mend="record at 44100 or 48000")
    return step


class _Thinning:
    """Every `step`-th sample after a low-pass (windowed sinc), block after block; the first sample stays the first."""

    def __init__(self, step: int) -> None:
        taps = np.arange(-4 * step, 4 * step + 1)
        kernel = np.sinc(0.9 * taps / step) * np.hanning(len(taps) + 2)[1:-1]
        self.step, self.kernel = step, (kernel / kernel.sum()).astype(np.float32)
        self.kept = np.zeros(4 * step, np.float32)

    def __call__(self, block: NDArray[np.float32]) -> NDArray[np.float32]:
        """What can be told with one more block."""
        if self.step == 1:
            return block
        row = np.concatenate([self.kept, block])
        count = max((len(row) - len(self.kernel)) // self.step + 1, 0)
        self.kept = row[count * self.step :]
        return np.convolve(row, self.kernel, "valid")[:: self.step] if count else row[:0]

    def rest(self) -> NDArray[np.float32]:
        """What was still to come, silence behind it."""
        return self(np.zeros(4 * self.step, np.float32)) if self.step > 1 else self.kept[:0]


def _wav(raw: BinaryIO) -> _Opened | None:
    """A WAV file (RIFF, IBM and Microsoft 1991), opened after its head; None for a coding that is not plain numbers.
    What a recorder did not live to write down as length is read to the end of the file."""
    form: tuple[int, int, int, int] | None = None
    while True:
        head = raw.read(8)
        if len(head) < 8:
            raise BadInput("this WAV file holds no sound", mend="record it anew")
        name, size = head[:4], struct.unpack("<I", head[4:])[0]
        if name == b"data":
            break
        begun = raw.tell()
        if name == b"fmt " and size >= 16:
            body = raw.read(min(size, 40)).ljust(16, b"\0")
            kind, channels, rate, _, frame, _bits = struct.unpack("<HHIIHH", body[:16])
            if kind == _EXTENSIBLE and len(body) >= 26:
                kind = struct.unpack("<H", body[24:26])[0]
            if channels and rate:
                _check_form(channels, rate)
                form = (kind, channels, rate, frame // channels) if frame % channels == 0 else form
        raw.seek(begun + size + size % 2)
    if form is None:
        raise BadInput("this WAV file does not say what it holds", mend="record it anew")
    kind, channels, rate, width = form
    if (kind, width) not in {(_PCM, 1), (_PCM, 2), (_PCM, 3), (_PCM, 4), (_FLOAT, 4), (_FLOAT, 8)}:
        return None
    there = (os.fstat(raw.fileno()).st_size - raw.tell()) // (channels * width)
    said = 0 if size in (0, 0xFFFFFFFF) else size // (channels * width)
    frames = min(said or there, there)
    # A length that is far too long and is not there is a mistake of whoever wrote it down.
    says = said if said <= MOST_S * rate else frames
    return _Opened(rate, channels, max(says, frames), _wav_blocks(raw, frames, channels, kind, width))


def _wav_blocks(raw: BinaryIO, frames: int, channels: int, kind: int, width: int) -> Iterator[NDArray[Any]]:
    while frames > 0:
        data = raw.read(min(_SAMPLES // channels, frames) * channels * width)
        count = len(data) // (channels * width)
        if not count:
            return
        yield _plain(data[: count * channels * width], kind, width).reshape(count, channels)
        frames -= count


def _plain(data: bytes, kind: int, width: int) -> NDArray[Any]:
    """Interleaved samples as -1..1."""
    if kind == _FLOAT:
        return np.frombuffer(data, "<f4" if width == 4 else "<f8")
    if width == 1:
        return (np.frombuffer(data, np.uint8).astype(np.float32) - 128.0) / 128.0
    if width == 3:
        wide = np.zeros((len(data) // 3, 4), np.uint8)
        wide[:, 1:] = np.frombuffer(data, np.uint8).reshape(-1, 3)
        return wide.view("<i4").reshape(-1).astype(np.float32) / np.float32(2**31)
    whole: NDArray[Any] = np.frombuffer(data, "<i2" if width == 2 else "<i4")
    return whole.astype(np.float32) / np.float32(2 ** (8 * width - 1))


def _library_blocks(sound: Any) -> Iterator[NDArray[Any]]:
    """What is there; soundfile's own `blocks` goes on to the length that was told, with whatever lay in the memory."""
    while len(block := sound.read(_SAMPLES // sound.channels, "float32", always_2d=True)):
        yield block


def _decoded(path: Path) -> Recording:
    """Any other kind of file, by whichever library is there. Raises BadInput."""
    with quiet_drivers():  # decoders too print their complaints to file descriptor 2
        try:
            import soundfile

            try:
                with soundfile.SoundFile(str(path)) as sound:
                    frames = sound.frames if sound.frames < _UNKNOWN else 0
                    _check_form(sound.channels, sound.samplerate)
                    return _held(_Opened(sound.samplerate, sound.channels, frames, _library_blocks(sound)))
            except (soundfile.SoundFileError, RuntimeError):
                pass
        except (ImportError, OSError):
            pass
        try:
            import miniaudio
        except ImportError:
            what = "this is no WAV file, and no library for others is installed"
            raise BadInput(what, mend="give a WAV file, or install steady-thumb[flac]") from None
        try:
            info = miniaudio.get_file_info(str(path))
            _check_form(info.nchannels, info.sample_rate)
            stream = miniaudio.stream_file(str(path), miniaudio.SampleFormat.FLOAT32, 1, info.sample_rate, _SAMPLES)
            blocks = (np.frombuffer(block, np.float32)[:, None] for block in stream)
            return _held(_Opened(info.sample_rate, 1, info.num_frames, blocks))
        except (miniaudio.MiniaudioError, OSError, ValueError):
            raise BadInput("this is no recording that can be read here", mend=_MEND) from None

"""A recording into samples: WAV by ourselves, whatever else by a library where one is installed."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from coach.errors import BadInput

SLOWEST_RATE, FASTEST_RATE = 8000, 192000
LEAST_S, MOST_S = 1.0, 900.0  # what is heard is laid beside what is meant in one table, which grows with both
SILENT = 1e-4  # -80 dB below full scale

_BLOCK = 1 << 18  # frames read at a stroke
_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_MEND = "give a recording as WAV, FLAC, Ogg or MP3"


@dataclass(frozen=True)
class Recording:
    """(frames,) mono samples, -1..1, at `rate` Hz."""

    samples: NDArray[np.float32]
    rate: int

    @property
    def seconds(self) -> float:
        """How long it is."""
        return len(self.samples) / self.rate


def read_recording(path: Path) -> Recording:
    """Read a recording and mix it to mono. Raises BadInput when it is none, too short, too long, or silent."""
    where = str(path)
    if not path.exists():
        raise BadInput("there is no such file", where=where, mend=_MEND)
    if path.is_dir():
        raise BadInput("this is a folder, not a recording", where=where, mend=_MEND)
    if not path.stat().st_size:
        raise BadInput("the file is empty", where=where, mend=_MEND)
    with path.open("rb") as raw:
        head = raw.read(12)
        is_wav = head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE"
        found = _wav(raw, where) if is_wav else None
    if found is None:
        found = _decoded(path, where)
    if not SLOWEST_RATE <= found.rate <= FASTEST_RATE:
        what = f"{found.rate} samples a second cannot be heard here"
        raise BadInput(what, where=where, mend=f"record at {SLOWEST_RATE} to {FASTEST_RATE}")
    if found.seconds < LEAST_S:
        raise BadInput(f"{found.seconds:.2f} s is too short to hear anything in", where=where, mend="play on")
    if found.seconds > MOST_S:
        what = f"a recording of more than {MOST_S / 60:.0f} minutes is too much"
        raise BadInput(what, where=where, mend="cut out the take")
    if not np.isfinite(found.samples).all():
        raise BadInput("the recording holds samples that are no numbers", where=where, mend="save it anew")
    if np.abs(found.samples).max() < SILENT:
        raise BadInput("the recording is silent", where=where, mend="see that the microphone is on")
    return found


def _wav(raw: BinaryIO, where: str) -> Recording | None:
    """The sound of a WAV file (RIFF, IBM and Microsoft 1991), opened after its head; None for a coding that is not
    plain numbers. What a recorder did not live to write down as length is read to the end of the file."""
    form: tuple[int, int, int, int] | None = None
    while True:
        head = raw.read(8)
        if len(head) < 8:
            raise BadInput("this WAV file holds no sound", where=where, mend="record it anew")
        name, size = head[:4], struct.unpack("<I", head[4:])[0]
        if name == b"data":
            break
        body = raw.read(size + size % 2)
        if name == b"fmt " and len(body) >= 16:
            kind, channels, rate, _, frame, _bits = struct.unpack("<HHIIHH", body[:16])
            if kind == _EXTENSIBLE and len(body) >= 26:
                kind = struct.unpack("<H", body[24:26])[0]
            if channels and frame % channels == 0 and rate:
                form = (kind, channels, rate, frame // channels)
    if form is None:
        raise BadInput("this WAV file does not say what it holds", where=where, mend="record it anew")
    kind, channels, rate, width = form
    if (kind, width) not in {(_PCM, 1), (_PCM, 2), (_PCM, 3), (_PCM, 4), (_FLOAT, 4), (_FLOAT, 8)}:
        return None
    open_end = size in (0, 0xFFFFFFFF)
    left = None if open_end else size // (channels * width)
    pieces: list[NDArray[np.float32]] = []
    frames = 0
    while left is None or left > 0:
        wanted = _BLOCK if left is None else min(_BLOCK, left)
        data = raw.read(wanted * channels * width)
        count = len(data) // (channels * width)
        if not count:
            break
        plain = _plain(data[: count * channels * width], kind, width).reshape(count, channels)
        pieces.append(plain.mean(axis=1, dtype=np.float32))
        frames += count
        left = None if left is None else left - count
        if frames > MOST_S * max(rate, SLOWEST_RATE):
            break
    return Recording(np.concatenate(pieces) if pieces else np.zeros(0, np.float32), rate)


def _plain(data: bytes, kind: int, width: int) -> NDArray[np.float32]:
    """Interleaved samples as -1..1."""
    if kind == _FLOAT:
        return np.frombuffer(data, "<f4" if width == 4 else "<f8").astype(np.float32)
    if width == 1:
        return (np.frombuffer(data, np.uint8).astype(np.float32) - 128.0) / 128.0
    if width == 3:
        wide = np.zeros((len(data) // 3, 4), np.uint8)
        wide[:, 1:] = np.frombuffer(data, np.uint8).reshape(-1, 3)
        return wide.view("<i4").reshape(-1).astype(np.float32) / np.float32(2**31)
    whole: NDArray[Any] = np.frombuffer(data, "<i2" if width == 2 else "<i4")
    return whole.astype(np.float32) / np.float32(2 ** (8 * width - 1))


def _decoded(path: Path, where: str) -> Recording:
    """Any other kind of file, by whichever library is there. Raises BadInput."""
    try:
        import soundfile

        try:
            with soundfile.SoundFile(str(path)) as sound:
                pieces = [block.mean(axis=1) for block in sound.blocks(_BLOCK, dtype="float32", always_2d=True)]
                return Recording(np.concatenate(pieces) if pieces else np.zeros(0, np.float32), sound.samplerate)
        except (soundfile.SoundFileError, RuntimeError):
            pass
    except (ImportError, OSError):
        pass
    try:
        import miniaudio
    except ImportError:
        what = "this is no WAV file, and no library for others is installed"
        raise BadInput(what, where=where, mend="give a WAV file, or install steady-thumb[flac]") from None
    try:
        rate = miniaudio.get_file_info(str(path)).sample_rate
        sound = miniaudio.decode_file(str(path), miniaudio.SampleFormat.FLOAT32, nchannels=1, sample_rate=rate)
    except (miniaudio.MiniaudioError, OSError, ValueError):
        raise BadInput("this is no recording that can be read here", where=where, mend=_MEND) from None
    return Recording(np.frombuffer(sound.samples, np.float32), rate)

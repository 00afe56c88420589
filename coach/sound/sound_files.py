"""A sound into a file of the kind its suffix says: WAV by ourselves, FLAC and Ogg Vorbis by the library `soundfile`."""

from __future__ import annotations

from collections.abc import Iterable
from importlib.util import find_spec
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from coach.errors import BadInput, CoachError
from coach.files.writing import new_file
from coach.sound.wav import quantise, write_wav

Pieces = Iterable[NDArray[np.float32]]

KINDS = {".wav": "WAV", ".flac": "FLAC", ".ogg": "OGG"}
BITS = (16, 24)
# A RIFF file counts its bytes in 32 bits (IBM and Microsoft 1991); two channels and a little head.
_MOST_WAV_BYTES = 2**32 - 1024


def has_flac() -> bool:
    """Whether FLAC and Ogg can be written here."""
    return find_spec("soundfile") is not None


def check_sound_path(path: Path, bits: int = 16, frames: int = 0) -> None:
    """Raise BadInput when a sound of `frames` stereo frames cannot be written to a file of this name."""
    kind = KINDS.get(path.suffix.lower())
    if kind is None:
        raise BadInput(
            f"'{path.suffix or path.name}' is no kind of sound file known here",
            where=str(path),
            mend="end the name in .wav, .flac or .ogg",
        )
    if kind != "WAV" and not has_flac():
        raise BadInput(
            f"{kind} needs the library soundfile",
            where=str(path),
            mend="install steady-thumb[flac], or name a .wav file",
        )
    if kind == "WAV" and frames * 2 * (bits // 8) > _MOST_WAV_BYTES:
        raise BadInput("so long a sound is too much for a WAV file", where=str(path), mend="name a .flac file")


def write_sound(path: Path, pieces: Pieces, rate: int, *, bits: int = 16, force: bool = False) -> int:
    """Write (frames, 2) pieces, -1..1, one after the other; returns how many frames. Ogg has no bits and ignores them.

    Raises as `check_sound_path` and `write_wav`, and leaves no half file behind.
    """
    check_sound_path(path, bits)
    kind = KINDS[path.suffix.lower()]
    if kind == "WAV":
        return write_wav(path, pieces, rate, bits=bits, force=force)
    with new_file(path, "the sound", force=force) as raw:
        return _encode(raw, pieces, rate, kind, bits)


class _WatchedFile:
    """A file whose trouble is kept: the library calls it from C, where an exception would get lost."""

    def __init__(self, raw: BinaryIO) -> None:
        self.raw = raw
        self.trouble: OSError | None = None

    def write(self, data: Any) -> int:
        try:
            return self.raw.write(data)
        except OSError as error:
            self.trouble = self.trouble or error
            return 0

    def read(self, size: int = -1) -> bytes:
        return self.raw.read(size)

    def seek(self, at: int, whence: int = 0) -> int:
        return self.raw.seek(at, whence)

    def tell(self) -> int:
        return self.raw.tell()

    def check(self) -> None:
        if self.trouble is not None:
            raise self.trouble


def _encode(raw: BinaryIO, pieces: Pieces, rate: int, kind: str, bits: int) -> int:
    import soundfile

    frames, out, watched = 0, None, _WatchedFile(raw)
    subtype = "VORBIS" if kind == "OGG" else f"PCM_{bits}"
    try:
        for piece in pieces:
            if out is None:
                out = soundfile.SoundFile(watched, "w", rate, 2, subtype, format=kind)
            out.write(piece if kind == "OGG" else _integer_steps(piece, bits))
            watched.check()
            frames += len(piece)
        if out is None:
            raise CoachError("there is nothing to write", mend="give at least one bar")
        out.close()
        watched.check()
    except (soundfile.SoundFileError, AssertionError) as error:  # the library asserts that all of it was taken
        watched.check()
        raise CoachError(f"the sound could not be written as {kind} ({error})", mend="name a .wav file") from None
    finally:
        if out is not None and not out.closed:
            out.close()
    return frames


def _integer_steps(piece: NDArray[np.float32], bits: int) -> NDArray[Any]:
    """The same steps as in a WAV file; the library wants 24 bits in the upper part of 32."""
    steps = quantise(piece, bits)
    return steps.astype(np.int16) if bits == 16 else (steps * 256).astype(np.int32)

"""Samples into a WAV file: 16 bit, written beside its place and then moved there, never over a file unless told."""

from __future__ import annotations

import wave
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from coach.errors import CoachError
from coach.outfile import new_file


def write_wav(
    path: str | Path, samples: NDArray[np.float32] | Iterable[NDArray[np.float32]], rate: int, *, force: bool = False
) -> int:
    """Write (frames,) or (frames, channels) samples, -1..1, whole or piece by piece; returns how many frames.

    Raises CoachError, and leaves no half file behind, when the file exists (without `force`), when the place
    cannot be written or the disk is full.
    """
    pieces = [samples] if isinstance(samples, np.ndarray) else samples
    with new_file(Path(path), "the sound", force=force) as raw:
        return _write(raw, pieces, rate)


def _write(raw: BinaryIO, pieces: Iterable[NDArray[np.float32]], rate: int) -> int:
    frames, out = 0, None
    try:
        for piece in pieces:
            if out is None:
                out = wave.open(raw, "wb")  # noqa: SIM115 - closed below, whatever happens
                out.setnchannels(1 if piece.ndim == 1 else piece.shape[1])
                out.setsampwidth(2)
                out.setframerate(rate)
            out.writeframesraw(np.round(np.clip(piece, -1.0, 1.0) * 32767.0).astype("<i2").tobytes())
            frames += len(piece)
        if out is None:
            raise CoachError("there is nothing to write", mend="give at least one bar")
        out.close()
    except BaseException:
        if out is not None:
            with suppress(OSError):
                out.close()  # or it would try again, and fail again, when it is thrown away
        raise
    return frames


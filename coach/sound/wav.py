"""Samples into a WAV file, 16 or 24 bit, written beside its place and then moved there, never over one unless told."""

from __future__ import annotations

import wave
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from coach.errors import CoachError
from coach.files.writing import new_file


def write_wav(
    path: str | Path,
    samples: NDArray[np.float32] | Iterable[NDArray[np.float32]],
    rate: int,
    *,
    force: bool = False,
    bits: int = 16,
) -> int:
    """Write (frames,) or (frames, channels) samples, -1..1, whole or piece by piece; returns how many frames.

    Raises CoachError, and leaves no half file behind, when the file exists (without `force`), when the place
    cannot be written or the disk is full.
    """
    pieces = [samples] if isinstance(samples, np.ndarray) else samples
    with new_file(Path(path), "the sound", force=force) as raw:
        return _write(raw, pieces, rate, bits)


def _write(raw: BinaryIO, pieces: Iterable[NDArray[np.float32]], rate: int, bits: int) -> int:
    frames, out = 0, None
    try:
        for piece in pieces:
            if out is None:
                out = wave.open(raw, "wb")  # noqa: SIM115 - closed below, whatever happens
                out.setnchannels(1 if piece.ndim == 1 else piece.shape[1])
                out.setsampwidth(bits // 8)
                out.setframerate(rate)
            out.writeframesraw(_pack_steps(piece, bits))
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


def quantise(piece: NDArray[np.float32], bits: int) -> NDArray[Any]:
    """Samples -1..1 as whole steps of 16 or 24 bits, rounded; what is louder is cut off."""
    # Single precision has 24 bits itself: enough to round to 16.
    exact: NDArray[Any] = np.clip(piece, -1.0, 1.0).astype(np.float32 if bits == 16 else np.float64)
    exact *= 2 ** (bits - 1) - 1
    steps: NDArray[Any] = np.rint(exact)
    return steps


def _pack_steps(piece: NDArray[np.float32], bits: int) -> bytes:
    steps = quantise(piece, bits)
    if bits == 16:
        return steps.astype("<i2").tobytes()
    whole = np.ascontiguousarray(steps.astype("<i4"))
    return whole.view(np.uint8).reshape(-1, 4)[:, :3].tobytes()  # the lower three bytes of each

"""Samples into a WAV file: 16 bit, written beside its place and then moved there, never over a file unless told."""

from __future__ import annotations

import os
import wave
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from coach.errors import CoachError


def write_wav(
    path: str | Path, samples: NDArray[np.float32] | Iterable[NDArray[np.float32]], rate: int, *, force: bool = False
) -> int:
    """Write (frames,) or (frames, channels) samples, -1..1, whole or piece by piece; returns how many frames.

    Raises CoachError, and leaves no half file behind, when the file exists (without `force`), when the place
    cannot be written or the disk is full.
    """
    path = Path(path)
    if path.exists() and not force:
        raise _exists(path)
    pieces = [samples] if isinstance(samples, np.ndarray) else samples
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with open(beside, "xb") as raw:
            frames = _write(raw, pieces, rate)
        _move(beside, path, force)
        return frames
    except OSError as error:
        raise CoachError(
            f"the sound could not be written ({error.strerror or error})",
            where=str(path),
            mend="choose a folder that exists, can be written and has room",
        ) from None
    finally:
        with suppress(OSError):
            beside.unlink()


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


def _exists(path: Path) -> CoachError:
    return CoachError("this file exists already", where=str(path), mend="choose another name, or give --force")


def _move(beside: Path, path: Path, force: bool) -> None:
    if force:
        os.replace(beside, path)
        return
    try:
        os.link(beside, path)  # fails where a file has come to stand meanwhile; a rename would not
    except FileExistsError:
        raise _exists(path) from None
    except OSError:  # a file system without hard links
        if path.exists():
            raise _exists(path) from None
        os.replace(beside, path)


"""WAV files: what is written can be read back, nothing is overwritten, a failure leaves nothing behind."""

from __future__ import annotations

import errno
import wave
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from coach.errors import CoachError
from coach.sound.mixer import render, render_bars
from coach.sound.wav import write_wav
from tests.sound.hands import RATE, bar, onsets, picked_bar


def read(path: Path) -> tuple[np.ndarray, int]:
    """Samples as floats (frames, channels) and the rate, by the standard library."""
    with wave.open(str(path)) as f:
        assert f.getsampwidth() == 2
        raw = np.frombuffer(f.readframes(f.getnframes()), dtype="<i2")
        return raw.reshape(-1, f.getnchannels()) / 32767.0, f.getframerate()


def test_written_and_read_back(tmp_path: Path) -> None:
    """A bar written as stereo reads back within half a step of 16 bits, clicks at the same samples."""
    sound = render([bar(0, 137, plucks=picked_bar())], RATE)
    assert write_wav(tmp_path / "bar.wav", sound, RATE) == len(sound)
    back, rate = read(tmp_path / "bar.wav")
    assert rate == RATE
    assert np.max(np.abs(back - sound)) <= 0.5 / 32767 + 1e-7
    clicks = render([bar(0, 137)], RATE, tail_s=0)
    write_wav(tmp_path / "click.wav", clicks[:, 0], RATE)
    back, _ = read(tmp_path / "click.wav")
    assert back.shape[1] == 1
    assert onsets(back.astype(np.float32)) == onsets(clicks)


def test_bar_by_bar_is_the_same_file(tmp_path: Path) -> None:
    """A long piece may be written bar by bar: the file is the same to the byte."""
    scores = [bar(n, 120, plucks=picked_bar()) for n in range(3)]
    write_wav(tmp_path / "whole.wav", render(scores, RATE), RATE)
    write_wav(tmp_path / "parts.wav", render_bars(scores, RATE), RATE)
    assert (tmp_path / "whole.wav").read_bytes() == (tmp_path / "parts.wav").read_bytes()


def test_an_existing_file_is_kept(tmp_path: Path) -> None:
    """A file that exists stays as it was, unless force is given."""
    path = tmp_path / "mine.wav"
    path.write_text("precious")
    with pytest.raises(CoachError, match="exists already; choose another name, or give --force"):
        write_wav(path, render([bar(0, 240)], RATE), RATE)
    assert path.read_text() == "precious"
    write_wav(path, render([bar(0, 240)], RATE), RATE, force=True)
    assert read(path)[1] == RATE
    assert list(tmp_path.iterdir()) == [path]


def test_a_missing_folder_is_one_sentence(tmp_path: Path) -> None:
    """A folder that does not exist is named in one sentence."""
    with pytest.raises(CoachError, match=r"nowhere.*could not be written.*choose a folder"):
        write_wav(tmp_path / "nowhere" / "a.wav", render([bar(0, 240)], RATE), RATE)


def test_a_full_disk_leaves_nothing_behind(tmp_path: Path) -> None:
    """When the disk fills up in the middle there is one sentence and no half file."""

    def pieces() -> Iterator[np.ndarray]:
        yield render([bar(0, 240)], RATE)
        raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(CoachError, match="the disk is full"):
        write_wav(tmp_path / "a.wav", pieces(), RATE)
    assert list(tmp_path.iterdir()) == []


def test_nothing_to_write(tmp_path: Path) -> None:
    """No bars make no file."""
    with pytest.raises(CoachError, match="nothing to write"):
        write_wav(tmp_path / "a.wav", render_bars([], RATE), RATE)
    assert list(tmp_path.iterdir()) == []

"""`coach listen` given files that lie, break off, hold what is no sound, or are far too long or too wide."""

from __future__ import annotations

import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from coach.commands.recordings import FINEST_RATE, MOST_CHANNELS, read_recording
from coach.errors import BadInput
from tests.calls import Run, shell
from tests.ear.played import Floats
from tests.test_cli_listen import LOOPS, RATE, TAKE, sounded, wav


@pytest.fixture(scope="module")
def sound() -> Floats:
    """A good take."""
    return sounded()


def raw_wav(path: Path, kind: int, channels: int, bits: int, body: bytes, rate: int = 48000) -> Path:
    """A WAV file whose head says what it is told to (RIFF, IBM and Microsoft 1991)."""
    frame = channels * bits // 8 & 0xFFFF
    form = struct.pack("<HHIIHH", kind, channels, rate, 0, frame, bits)
    whole = b"WAVEfmt " + struct.pack("<I", 16) + form + b"data" + struct.pack("<I", len(body)) + body
    path.write_bytes(b"RIFF" + struct.pack("<I", len(whole)) + whole)
    return path


ODD = {
    "8191 channels": (1, 8191, 16, b"\x01\x02" * 8191 * 20, "8191 channels are more"),
    "65535 channels": (1, 65535, 16, b"\x01\x02" * 65535, "65535 channels are more"),
    "float64 past float32": (3, 1, 64, np.full(96000, 1e300).tobytes(), "samples of 1e+300"),
    "3e38": (3, 1, 32, np.full(96000, 3e38, "<f4").tobytes(), "samples of 3e+38"),
    "3e38 both ways": (3, 2, 32, np.array([3e38, -3e38] * 96000, "<f4").tobytes(), "samples of 3e+38"),
    "no number": (3, 1, 32, np.full(96000, np.nan, "<f4").tobytes(), "no numbers"),
    "signalling no number": (3, 1, 64, b"\x01\x00\x00\x00\x00\x00\xf0\x7f" * 96000, "no numbers"),
    "without end": (3, 1, 32, np.full(96000, -np.inf, "<f4").tobytes(), "no numbers"),
    "next to nothing": (3, 1, 64, np.full(96000, 1e-310).tobytes(), "silent"),
    "two that undo each other": (1, 2, 16, np.array([9000, -9000] * 96000, "<i2").tobytes(), "silent"),
}


@pytest.mark.parametrize("what", ODD)
def test_what_is_no_sound_is_told_in_one_sentence(run: Run, tmp_path: Path, what: str) -> None:
    """Exit code 2 and no word of a library's own (its warnings are errors here)."""
    kind, channels, bits, body, told = ODD[what]
    code, out, err = run("listen", str(raw_wav(tmp_path / "a.wav", kind, channels, bits, body)), *TAKE)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert told in err


def test_too_many_channels_of_a_packed_file(run: Run, tmp_path: Path) -> None:
    """What a library opens is held to the same."""
    soundfile = pytest.importorskip("soundfile")
    path = tmp_path / "a.caf"
    soundfile.write(str(path), np.zeros((9600, MOST_CHANNELS + 1)), 48000, format="CAF")
    code, out, err = run("listen", str(path), *TAKE)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert f"{MOST_CHANNELS + 1} channels are more" in err


@pytest.mark.parametrize("told_s", [36000, 0, 20])
def test_hours_in_a_small_file_are_never_held(tmp_path: Path, told_s: int) -> None:
    """A FLAC file of two hours whose head says ten, nothing, or 20 s: it is seen, and never are more than a
    quarter of an hour's samples in hand (RFC 9639, 8.2: 36 bits of STREAMINFO say how many there are)."""
    soundfile = pytest.importorskip("soundfile")
    path = tmp_path / "a.flac"
    with soundfile.SoundFile(str(path), "w", 8000, 1, format="FLAC") as file:
        for _ in range(120):
            file.write(np.full(8000 * 60, 0.25, np.float32))
    raw = bytearray(path.read_bytes())
    head = int.from_bytes(raw[18:26], "big") >> 36 << 36 | told_s * 8000
    raw[18:26] = head.to_bytes(8, "big")
    path.write_bytes(raw)
    code = f"""
import resource
from pathlib import Path
from coach.commands.recordings import read_recording
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
try:
    print(read_recording(Path({str(path)!r})).seconds)
except Exception as error:
    print(error)
print((resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=300)
    told, grown = done.stdout.splitlines()
    assert done.stderr == ""
    assert told == "20.0" if told_s == 20 else "more than 15 minutes" in told
    assert float(grown) < 80  # MB; the two hours are 220


def packed(sound: Floats, path: Path) -> bytes:
    """The take as FLAC or MP3."""
    soundfile = pytest.importorskip("soundfile")
    form = path.suffix[1:].upper()
    if form not in soundfile.available_formats():
        pytest.skip(f"this libsndfile writes no {form}")
    soundfile.write(str(path), sound, RATE, format=form)
    return path.read_bytes()


@pytest.mark.parametrize("suffix", [".mp3", ".flac", ".wav"])
def test_a_file_cut_off_in_the_middle_says_so_and_is_heard_as_far_as_it_goes(
    tmp_path: Path, sound: Floats, suffix: str
) -> None:
    """One note, nothing from the decoder (which writes to the file descriptor itself, so in a process of its own); what
    is heard ends where the file does: a library may go on with whatever lay in the memory."""
    path = tmp_path / f"a{suffix}"
    whole = wav(path, sound).read_bytes() if suffix == ".wav" else packed(sound, path)
    path.write_bytes(whole[: len(whole) // 2 + 13])
    done = shell("listen", str(path), *TAKE)
    assert done.returncode == 0
    (line,) = done.stderr.splitlines()
    assert line.startswith("note: the recording breaks off after ")
    read = read_recording(path)
    assert read.note
    assert read.seconds == pytest.approx(len(sound) / RATE / 2, rel=0.1)
    assert f"of the {read.seconds:.1f} s of the recording" in " ".join(done.stdout.split())


@pytest.mark.parametrize("suffix", [".mp3", ".flac"])
def test_a_file_with_holes_leaves_no_word_of_the_decoder(tmp_path: Path, sound: Floats, suffix: str) -> None:
    """A hundred bytes of it are others."""
    path = tmp_path / f"a{suffix}"
    raw = bytearray(packed(sound, path))
    chance = np.random.default_rng(1)
    for place in chance.integers(2000, len(raw), 100):
        raw[place] = chance.integers(256)
    path.write_bytes(raw)
    done = shell("listen", str(path), *TAKE)
    assert done.returncode in (0, 2)
    lines = done.stderr.splitlines()
    assert len(lines) == 1 if done.returncode else len(lines) <= 1
    assert not lines or lines[0].startswith("note: " if done.returncode == 0 else str(path))


def test_what_comes_before_the_sound_is_never_held(run: Run, tmp_path: Path) -> None:
    """A chunk that says it is 4 GB long."""
    path = tmp_path / "a.wav"
    path.write_bytes(b"RIFF\xff\xff\xff\xffWAVELIST\xf0\xff\xff\xffabc")
    code, _, err = run("listen", str(path), *TAKE)
    assert (code, err.count("\n")) == (2, 1)
    assert "holds no sound" in err


@pytest.mark.parametrize("times", [2, 4])
def test_more_samples_a_second_than_are_heard_are_thinned(tmp_path: Path, times: int) -> None:
    """A tone of 1 kHz and one far above what is left: the first stays as it was, the second does not fold down."""
    rate = 48000 * times
    at = np.arange(3 * rate) / rate
    low, high = np.sin(2 * np.pi * 1000 * at), np.sin(2 * np.pi * 0.45 * rate * at)
    read = read_recording(wav(tmp_path / "a.wav", 0.4 * low + 0.4 * high, 24, rate=rate))
    assert (read.rate, len(read.samples)) == (FINEST_RATE, 3 * FINEST_RATE)
    kept = 0.4 * np.sin(2 * np.pi * 1000 * np.arange(3 * FINEST_RATE) / FINEST_RATE)
    middle = slice(100, -100)
    assert np.abs(read.samples[middle] - kept[middle]).max() < 0.02


@pytest.mark.parametrize(("rate", "told"), [(4000, "4000 samples"), (191999, "191999 samples"), (400000, "400000")])
def test_rates_that_cannot_be_heard_are_refused(tmp_path: Path, rate: int, told: str) -> None:
    """Too slow, too fast, and one that no whole number makes a usual one of."""
    with pytest.raises(BadInput, match=told):
        read_recording(wav(tmp_path / "a.wav", np.full(3 * rate, 0.3), rate=rate))


def test_a_take_is_heard_alike_at_any_rate(run: Run, tmp_path: Path, sound: Floats) -> None:
    """Each sample four times over is the same take."""
    path = wav(tmp_path / "a.wav", np.repeat(sound, 4), rate=4 * RATE)
    code, out, _ = run("listen", str(path), *TAKE)
    assert code == 0
    assert f"{4 * 4 * LOOPS}" in out
    assert "No stumble was heard." in out

"""Recordings that are damaged, lie about themselves, or are far longer and wider than they look."""

from __future__ import annotations

import struct
from functools import cache
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

import numpy as np

from tests.campaign import homes, mutate
from tests.campaign.call import call, fault
from tests.campaign.kind import Kind

RATE = 22050


@cache
def _played() -> np.ndarray:
    """Four seconds of decaying plucks, one each half second, (frames,) float64."""
    t = np.arange(4 * RATE) / RATE
    since = t % 0.5
    return 0.5 * np.sin(2 * np.pi * 130.8 * t) * np.exp(-6 * since)


def _wav(rng: Random) -> bytes:
    """A WAV file whose head may say anything (RIFF, IBM and Microsoft 1991)."""
    kind, channels, rate, bits = 1, 1, RATE, 16
    samples = _played()
    body = (samples * 32767).astype("<i2").tobytes()
    way = rng.randrange(7)
    if way == 0:
        channels = rng.choice((0, 2, 3, 255, 8191, 65535))
    elif way == 1:
        rate = rng.choice((0, 1, 7999, 192001, 2**31, 2**32 - 1))
    elif way == 2:
        kind, bits = rng.choice(
            ((3, 32), (3, 64), (1, 8), (1, 24), (1, 32), (1, 7), (1, 0), (0, 16), (6, 8), (17, 4), (0xFFFE, 16))
        )
    elif way == 3:
        kind, bits = 3, rng.choice((32, 64))
        loud = samples * rng.choice((3e38, 1e30, 1e300 if bits == 64 else 3e38, float("nan"), float("inf"), 1e-9))
        with np.errstate(all="ignore"):
            body = loud.astype("<f4" if bits == 32 else "<f8").tobytes()
    elif way == 4:
        body = body[: rng.randrange(len(body))]
    size = rng.choice((len(body),) * 5 + (0, 1, 2**31, 2**32 - 1, len(body) * 9))
    frame = (channels * bits // 8) & 0xFFFF if rng.random() < 0.9 else rng.choice((0, 1, 65535))
    form = struct.pack("<HHIIHH", kind, channels, rate, rate * frame & 0xFFFFFFFF, frame, bits)
    odd = b"junk" + struct.pack("<I", rng.choice((4, 5, 2**32 - 1))) + b"abcd" if rng.random() < 0.15 else b""
    raw = b"RIFF" + struct.pack("<I", 36 + len(body)) + b"WAVE" + b"fmt " + struct.pack("<I", 16) + form + odd
    return raw + b"data" + struct.pack("<I", size) + body


def _by_library(rng: Random, ending: str) -> bytes:
    """FLAC, Ogg or MP3; at times hours of next to nothing, which packs into little."""
    import soundfile

    with TemporaryDirectory(prefix="coach-campaign-") as place:
        path = Path(place) / f"x.{ending}"
        channels, rate = rng.choice(((1, RATE), (1, RATE), (2, 44100), (8, 44100) if ending == "flac" else (2, 8000)))
        hours = rng.choice((0, 0, 0, 1, 4)) if ending != "mp3" else 0
        with soundfile.SoundFile(path, "w", rate, channels) as sound:
            sound.write(np.repeat(_played()[:, None], channels, 1))
            quiet = np.zeros((rate * 30, channels), np.float32)
            for _ in range(hours * 120):
                sound.write(quiet)
        return path.read_bytes()


def recording(rng: Random, folder: Path) -> str | None:
    """A recording is heard or refused in a sentence, without much memory and without a word of a library."""
    home = homes.make_home(folder)
    before = homes.keep(home)
    ending = rng.choice(("wav", "wav", "wav", "flac", "ogg", "mp3"))
    raw = _wav(rng) if ending == "wav" else _by_library(rng, ending)
    if rng.random() < 0.35:
        raw = mutate.blind(rng, raw)
    elif rng.random() < 0.2:
        raw = raw[: rng.randrange(len(raw) + 1)]
    path = folder / f"take.{rng.choice((ending, ending, ending, 'wav', 'mp3', 'txt'))}"
    path.write_bytes(raw)
    words = ["listen", path.name, "--pattern", "thumb-on-the-beat", "--tempo", "120", "--loops", "2", "--json"]
    words += rng.choice(([], ["--log"], ["--offset", "0.1"]))
    said = call(words, folder, cpu_s=40)
    return homes.first(fault(said, alone=said.code != 0), before.lost())


KINDS = (Kind("recording", recording, seconds=120),)

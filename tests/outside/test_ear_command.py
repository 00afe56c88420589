"""`coach listen` on recordings whose every pluck is known: the contract's document, held against the truth."""

from __future__ import annotations

import wave
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.calls import Data, Run
from tests.outside.hearing_judge import CHORDS, kind

STEREO, MONO = 2, 1
STATUSES = {"hit", "missed", "wrong", "unsure"}
VERDICTS = {"lost", "shaky", "held", "flowing"}
STUMBLES = {"hesitation", "missed", "extra", "wrong"}


def written(path: Path, name: str, *, channels: int = MONO, bytes_each: int = 2) -> str:
    """The recording of this kind as a WAV file; of two channels the second is half as loud."""
    sound = kind(name).sound.astype(float)
    both = np.stack([sound, sound / 2][:channels], axis=1)
    steps = np.round(both * (2 ** (8 * bytes_each - 1) - 1)).astype("<i4")
    with wave.open(str(path), "wb") as out:
        out.setparams((channels, bytes_each, kind(name).rate, 0, "NONE", ""))
        out.writeframes(steps.reshape(-1, 1).view(np.uint8)[:, :bytes_each].tobytes())
    return str(path)


def asked(path: str, loops: int) -> list[str]:
    """The words of the command for the kinds' usual piece."""
    return ["listen", path, "--pattern", "outside-in", "--chords", CHORDS, "--tempo", "96", "--loops", str(loops)]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the recordings lie."""
    return tmp_path_factory.mktemp("takes")


def test_the_document_is_the_contracts_and_says_what_was_played(data: Data, folder: Path) -> None:
    """Every field in its place, one row for each written pluck; statuses and strings are the truth's."""
    of = kind("model, stumbling")
    document: Any = data(*asked(written(folder / "stumbling.wav", "model, stumbling"), 3))
    assert {"latency_ms", "plucks", "extra", "timing", "stumbles", "verdict"} <= set(document)
    assert {"bias_ms", "spread_ms", "by_finger", "by_beat", "drift_ms_per_min"} <= set(document["timing"])
    assert set(document["timing"]["by_finger"]) == {"p", "i", "m", "a"}
    assert all(set(row) >= {"bias_ms", "spread_ms"} for row in document["timing"]["by_beat"].values())
    assert document["verdict"] in VERDICTS
    assert {s["kind"] for s in document["stumbles"]} <= STUMBLES
    fields = {"bar", "beat", "meant_string", "string", "fret", "finger", "status", "time_s", "off_ms"}
    right = 0
    told = {(row["bar"], row["beat"], row["meant_string"]): row for row in document["plucks"]}
    assert len(told) == len(document["plucks"]) == len(of.score.plucks)
    for k, w in enumerate(of.score.plucks):
        row, true = told[w.bar, str(w.beat), w.string], of.truth.of(k)
        assert fields <= set(row)
        assert row["status"] in STATUSES
        assert (row["off_ms"] is None) == (row["time_s"] is None)
        assert row["status"] != "missed" or row["off_ms"] is None
        right += row["status"] == of.truth.status[k] and (true is None or row["string"] == true.string)
    assert right >= 0.97 * len(of.score.plucks)
    slips = {(s["bar"], Fraction(s["beat"])) for s in document["stumbles"] if s["kind"] == "missed"}
    missed = [(w.bar, w.beat) for w, s in zip(of.score.plucks, of.truth.status, strict=True) if s == "missed"]
    assert len(slips & set(missed)) >= 0.8 * len(set(missed))


@pytest.mark.parametrize(("channels", "bytes_each"), [(MONO, 3), (STEREO, 4)])
def test_other_kinds_of_file_say_the_same(data: Data, folder: Path, channels: int, bytes_each: int) -> None:
    """24 and 32 bits, one channel and two."""
    path = written(folder / f"{channels}-{bytes_each}.wav", "model, clean", channels=channels, bytes_each=bytes_each)
    document: Any = data(*asked(path, 2))
    assert [row["status"] for row in document["plucks"]].count("hit") >= 0.97 * len(document["plucks"])


def test_where_the_first_beat_falls(data: Data, folder: Path) -> None:
    """`--offset 1` is what this recording has; half a beat beside it the take is another one."""
    path = written(folder / "clean.wav", "model, clean")
    given: Any = data(*asked(path, 2), "--offset", "1")
    assert given["latency_ms"] == pytest.approx(0, abs=3)
    assert all(row["status"] == "hit" for row in given["plucks"])


def test_a_layer_is_what_was_to_be_played(data: Data, folder: Path) -> None:
    """The thumb alone was meant, and everything was played: the thumb is heard, and the fingers are too many."""
    path = written(folder / "full.wav", "model, clean")
    document: Any = data(*asked(path, 2), "--layer", "thumb")
    assert {row["finger"] for row in document["plucks"]} == {"p"}
    assert sum(row["status"] == "hit" for row in document["plucks"]) >= 0.9 * len(document["plucks"])
    assert len(document["extra"]) >= 20


def test_a_bad_file_is_one_sentence(run: Run, folder: Path) -> None:
    """No sound, an empty file, no file: exit 2 and a sentence, no traceback (contract)."""
    (folder / "words.wav").write_text("no sound at all")
    (folder / "empty.wav").write_bytes(b"")
    for name in ("words.wav", "empty.wav", "nowhere.wav"):
        code, out, err = run(*asked(str(folder / name), 2))
        assert (code, out) == (2, "")
        assert err.strip().count("\n") == 0
        assert "Traceback" not in err

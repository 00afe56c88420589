"""`coach listen`: files of every kind, what is printed, what is refused, and what goes into the log."""

from __future__ import annotations

import os
import struct
from pathlib import Path

import numpy as np
import pytest

from tests.calls import Data, Run
from tests.ear.played import Floats, Room, recorded
from tests.ear.test_hearing import meant, performed

RATE = 22050
LOOPS = 3
TAKE = ("--pattern", "thumb-on-the-beat", "--chords", "C | Am | F | G", "--tempo", "90", "--loops", str(LOOPS))


def sounded(**how: object) -> Floats:
    """The thumb over four chords, three times round."""
    played = performed(meant("thumb-on-the-beat", 90, LOOPS), lead=1.0, **how)  # type: ignore[arg-type]
    return recorded(played.struck, Room(rate=RATE))


def wav(path: Path, sound: Floats, bits: int = 16, channels: int = 1, *, real: bool = False, rate: int = RATE) -> Path:
    """A WAV file written by hand (RIFF, IBM and Microsoft 1991); all but the first channel are half as loud."""
    rows = np.stack([sound] + [0.5 * sound] * (channels - 1), axis=1).reshape(-1)
    if real:
        data = rows.astype("<f4" if bits == 32 else "<f8").tobytes()
    elif bits == 8:
        data = np.rint(rows * 127 + 128).astype(np.uint8).tobytes()
    elif bits == 24:
        data = np.rint(rows * (2**23 - 1)).astype("<i4").view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
    else:
        data = np.rint(rows * (2 ** (bits - 1) - 1)).astype(f"<i{bits // 8}").tobytes()
    frame = channels * bits // 8
    form = struct.pack("<HHIIHH", 3 if real else 1, channels, rate, rate * frame, frame, bits)
    body = b"WAVEfmt " + struct.pack("<I", len(form)) + form + b"LIST\x03\x00\x00\x00abc\x00"
    body += b"data" + struct.pack("<I", len(data)) + data
    path.write_bytes(b"RIFF" + struct.pack("<I", len(body)) + body)
    return path


@pytest.fixture(scope="module")
def sound() -> Floats:
    """A good take."""
    return sounded()


@pytest.mark.parametrize(
    ("bits", "channels", "real"),
    [(8, 1, False), (16, 2, False), (24, 6, False), (32, 1, False), (32, 2, True), (64, 1, True)],
)
def test_every_width_and_any_channels_are_read(
    data: Data, tmp_path: Path, sound: Floats, bits: int, channels: int, real: bool
) -> None:
    """8 bits hiss at -48 dB, and all the same every pluck is heard."""
    told = data("listen", str(wav(tmp_path / "a.wav", sound, bits, channels, real=real)), *TAKE)
    assert {p["status"] for p in told["plucks"]} == {"hit"}
    assert len(told["plucks"]) == 4 * 4 * LOOPS
    assert told["offset_s"] == pytest.approx(1.0, abs=0.01)
    assert told["verdict"] in ("held", "flowing")


@pytest.mark.parametrize("suffix", ["flac", "ogg"])
def test_other_files_are_read_where_a_library_is(data: Data, tmp_path: Path, sound: Floats, suffix: str) -> None:
    """FLAC and Ogg by soundfile."""
    soundfile = pytest.importorskip("soundfile")
    path = tmp_path / f"a.{suffix}"
    soundfile.write(str(path), np.stack([sound, sound], axis=1), RATE)
    assert {p["status"] for p in data("listen", str(path), *TAKE)["plucks"]} == {"hit"}


def test_flac_is_read_without_soundfile_too(
    data: Data, tmp_path: Path, sound: Floats, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Then by miniaudio, which the coach has anyway."""
    soundfile = pytest.importorskip("soundfile")
    pytest.importorskip("miniaudio")
    soundfile.write(str(tmp_path / "a.flac"), sound, RATE)
    monkeypatch.setitem(__import__("sys").modules, "soundfile", None)
    assert {p["status"] for p in data("listen", str(tmp_path / "a.flac"), *TAKE)["plucks"]} == {"hit"}


def test_a_recorder_that_was_cut_off_still_left_a_take(data: Data, tmp_path: Path, sound: Floats) -> None:
    """The length was never written: it is read to the end of the file."""
    path = wav(tmp_path / "a.wav", sound)
    raw = bytearray(path.read_bytes())
    at = raw.index(b"data") + 4
    raw[at : at + 4] = b"\xff\xff\xff\xff"
    path.write_bytes(raw)
    assert {p["status"] for p in data("listen", str(path), *TAKE)["plucks"]} == {"hit"}


def test_in_words_it_says_who_was_how_and_where(run: Run, tmp_path: Path) -> None:
    """A finger's row, the stumble's place, and that the ear may be wrong."""
    path = wav(tmp_path / "a.wav", sounded(waits={22: 0.7}))
    code, out, err = run("listen", str(path), *TAKE)
    assert (code, err) == (0, "")
    assert "thumb" in out
    assert any(line.split()[:4] == ["2", "2", "3", "hesitation"] for line in out.splitlines())
    assert "may be missed" in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80


def test_where_the_first_beat_is_may_be_told(data: Data, tmp_path: Path, sound: Floats) -> None:
    """40 ms early: that is the latency then."""
    told = data("listen", str(wav(tmp_path / "a.wav", sound)), *TAKE, "--offset", "0.96")
    assert told["latency_ms"] == pytest.approx(40, abs=4)


def test_noise_is_lost_and_no_failure(data: Data, tmp_path: Path) -> None:
    """Exit code 0: it was listened to, and there was nothing."""
    told = data("listen", str(wav(tmp_path / "a.wav", np.random.default_rng(1).normal(0, 0.05, 20 * RATE))), *TAKE)
    assert told["verdict"] == "lost"
    assert all(p["status"] in ("missed", "unsure") for p in told["plucks"])


BAD = {
    "no such file": None,
    "the file is empty": b"",
    "no recording": b"not a sound at all" * 40,
    "holds no sound": b"RIFF\x04\x00\x00\x00WAVE",
}


@pytest.mark.parametrize("what", BAD)
def test_what_is_no_recording_is_refused_in_one_sentence(run: Run, tmp_path: Path, what: str) -> None:
    """Exit code 2."""
    path = tmp_path / "a.wav"
    if (raw := BAD[what]) is not None:
        path.write_bytes(raw)
    code, out, err = run("listen", str(path), *TAKE)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert what in err


@pytest.mark.parametrize(
    ("more", "what"),
    [
        (("--pattern", "outside-inn"), "outside-in"),
        (("--tempo", "fast"), "not a tempo"),
        (("--offset", "-1"), "offset"),
        (("--offset", "900"), "behind its end"),
        (("--layer", "most"), "layer"),
        (("--loops", "0"), "--loops"),
        (("--loops", "400", "--tempo", "40"), "last 160 minutes"),
        (("--chords", "N"), "nothing to be plucked"),
        (("--chords", "H"), "H"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_one_sentence(
    run: Run, tmp_path: Path, sound: Floats, more: tuple[str, str], what: str
) -> None:
    """Exit code 2; of two the same option the last counts."""
    code, out, err = run("listen", str(wav(tmp_path / "a.wav", sound)), *TAKE, *more)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert what in err


@pytest.mark.parametrize(("seconds", "what"), [(0.3, "too short"), (4.0, "silent")])
def test_too_little_is_refused(run: Run, tmp_path: Path, seconds: float, what: str) -> None:
    """A third of a second; four of silence."""
    code, _, err = run("listen", str(wav(tmp_path / "a.wav", np.zeros(int(seconds * RATE)))), *TAKE)
    assert code == 2
    assert what in err


def test_too_much_is_refused(run: Run, tmp_path: Path) -> None:
    """Sixteen minutes."""
    code, _, err = run("listen", str(wav(tmp_path / "a.wav", np.ones(8000 * 960), rate=8000)), *TAKE)
    assert code == 2
    assert "more than 15 minutes" in err


def test_a_take_is_logged_once_whatever_its_file_is_called(run: Run, data: Data, tmp_path: Path) -> None:
    """One take, a pass each time round, the stumble at its bar and beat, the moment of the file less its length."""
    path = wav(tmp_path / "a.wav", sounded(waits={22: 0.7}))
    os.utime(path, (1_780_000_000, 1_780_000_000))
    told = data("listen", str(path), *TAKE, "--log")
    assert told["logged"] is True
    copy = tmp_path / "b.wav"
    copy.write_bytes(path.read_bytes())
    assert data("listen", str(copy), *TAKE, "--log")["logged"] is False
    (take,) = data("log")
    assert (take["drill"], take["tempo"], take["bars"], take["stumbles"]) == ("thumb-on-the-beat", 90.0, 12, 1)
    assert (take["verdict"], take["passes"], take["clean_passes"]) == (told["verdict"], 3, 2)
    assert take["at"].startswith("2026-05-28T")

    from coach import places
    from coach.log.ledger import Ledger

    with Ledger(places.ledger()) as ledger:
        ((bar, beat, pass_no),) = [(s.bar, s.beat, s.pass_no) for s in ledger.stumbles()]
        kinds = {note.kind: note.text for note in ledger.notes()}
    assert (bar, beat, pass_no) == (1, "2", 2)
    assert kinds["other chords"] == "C | Am | F | G"


def test_on_the_drills_own_chords_no_note_says_otherwise(data: Data, tmp_path: Path) -> None:
    """As a take on the stage has it (`coach drill PATTERN --chords`)."""
    from coach import places, shelf
    from coach.log.ledger import Ledger

    chords = next(d.chords for d in shelf.drills_here(shelf.library()) if d.id == "thumb-on-the-beat")
    played = performed(meant("thumb-on-the-beat", 90, LOOPS, chords=chords), lead=1.0)
    path = wav(tmp_path / "a.wav", recorded(played.struck, Room(rate=RATE)))
    args = ("--pattern", "thumb-on-the-beat", "--chords", chords, "--tempo", "90", "--loops", str(LOOPS), "--log")
    assert data("listen", str(path), *args)["logged"] is True
    with Ledger(places.ledger()) as ledger:
        assert [note.kind for note in ledger.notes()] == ["heard from a recording"]


@pytest.mark.parametrize(("jitter_s", "low", "high"), [(0.004, "held", "flowing"), (0.042, "lost", "shaky")])
def test_measured_timing_lowers_what_is_remembered(
    data: Data, tmp_path: Path, jitter_s: float, low: str, high: str
) -> None:
    """No pass has a stumble, but the beat of 333 ms is uneven by an eighth of it: what is remembered of the day is
    shaky at best. (10 % is unsteady by any measure, trained players keep to 2 to 4 %: Repp 2005, from memory.)
    """
    from coach import places
    from coach.log.ledger import Ledger
    from coach.log.takes import VERDICTS
    from coach.skill.estimates import Estimates

    played = performed(meant("thumb-on-the-beat", 180, LOOPS), lead=1.0, jitter=jitter_s)
    path = wav(tmp_path / "a.wav", recorded(played.struck, Room(rate=RATE)))
    data("listen", str(path), *TAKE, "--tempo", "180", "--log")
    (take,) = data("log")
    assert (take["passes"], take["clean_passes"]) == (LOOPS, LOOPS)
    with Ledger(places.ledger()) as ledger, Estimates(ledger) as estimates:
        memory = estimates.pasts()["thumb-on-the-beat"].memory
    assert memory is not None
    assert VERDICTS.index(low) <= VERDICTS.index(memory.standing) <= VERDICTS.index(high)


def test_nothing_heard_is_not_logged_and_says_so(run: Run, data: Data, tmp_path: Path) -> None:
    """Noise; and a pattern that is not among the drills."""
    noise = wav(tmp_path / "a.wav", np.random.default_rng(1).normal(0, 0.05, 20 * RATE))
    code, _, err = run("listen", str(noise), *TAKE, "--log")
    assert code == 0
    assert "not logged" in err
    assert data("log") == []


def test_help_has_an_example(run: Run) -> None:
    """And names every option of the contract."""
    code, out, _ = run("listen", "--help")
    assert code == 0
    assert "coach listen take.wav --pattern outside-in" in out
    for option in ("--pattern", "--chords", "--tempo", "--shapes", "--loops", "--layer", "--offset", "--json", "--log"):
        assert option in out

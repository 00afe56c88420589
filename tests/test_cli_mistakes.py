"""Mistakes and mishaps: one sentence on stderr, the right exit code, nothing on stdout, and never a traceback."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.calls import Data, Run, shell

MISTAKES = [
    "shw outside-in",
    "--hlep",
    "-x",
    "LOG",
    "log ad",
    "log add --drill outside-in",
    "patterns extra",
    "patterns --jsn",
    "show",
    "show no-such-pattern",
    "show nowhere/none.toml",
    "show {folder}",
    "show outside-in --chords",
    "show outside-in --chords H",
    "show outside-in --chords C||F",
    "show outside-in --chords ",
    "show outside-in --chords C/H",
    "show outside-in --layer most",
    "show outside-in --loops 0",
    "show outside-in --loops two",
    "show outside-in --loops 99999999999999999999",
    "show outside-in --shapes C",
    "show outside-in --shapes C=x320",
    "show outside-in --shapes C=xxxxxx",
    "show outside-in --shapes H=x32010",
    "show outside-in --loops 3 --lops 4",
    "layers outside-in --chords Q",
    "layers none",
    "ramp --from 60",
    "ramp --from sixty --to 90",
    "ramp --from 60 --to 1e999999999",
    "ramp --from 5 --to 90",
    "ramp --from 60 --to 4000",
    "ramp --from 60 --to -90",
    "ramp --from 60 --to nan",
    "ramp --from 60 --to 90 --step 0",
    "ramp --from 60 --to 90 --step -2",
    "ramp --from 60 --to 90 --step 0.00001",
    "ramp --from 60 --to 90 --every 0",
    "ramp --from 60 --to 90 --smooth 0",
    "ramp --from 60 --to 90 --smooth 4 --step 2",
    "ramp --from 60 --to 90 --meter 4/5",
    "ramp --from 60 --to 90 --bars 0",
    "ramp --from 60 --to 90 --bars 1.5",
    "click --tempo 90 --bars 2",
    "click --tempo 90 -o {folder}/c.wav",
    "click --bars 2 -o {folder}/c.wav",
    "click --tempo 0 --bars 2 -o {folder}/c.wav",
    "click --tempo 90 --bars 2 --rate 7999 -o {folder}/c.wav",
    "click --tempo 90 --bars 2 --rate 192001 -o {folder}/c.wav",
    "click --tempo 90 --bars 2 --rate lots -o {folder}/c.wav",
    "click --tempo 90 --bars 2 -o {folder}",
    "click --tempo 90 --bars 2 -o {folder}/c.mp3",
    "click --tempo 90 --bars 2 --step 3 -o {folder}/c.wav",
    "click --tempo 20 --bars 2000 --rate 192000 --meter 5/4 -o {folder}/c.wav",
    "today --minutes 0",
    "today --minutes 241",
    "today --minutes half",
    "today --minutes",
    "drills --all",
    "log --last",
    "log add --drill outside-inn --tempo 80 --verdict held",
    "log add --drill outside-in --tempo fast --verdict held",
    "log add --drill outside-in --tempo 80 --verdict good",
    "log add --drill outside-in --tempo 80 --verdict held --bars -1",
    "log add --drill outside-in --tempo 80 --verdict held --stumbles x",
    "log add --drill outside-in --tempo 80 --verdict held --layer some",
    "log add --drill outside-in --tempo 80 --verdict held --at yesterday",
    "log add --drill outside-in --tempo 80 --verdict held --at 2026-02-30",
    "log export",
    "log export {folder}/log.txt",
    "log export {folder}/f.csv",
    "log merge",
    "log merge {folder}/none.sqlite3",
    "log merge {folder}",
    "log blank",
    "log blank -o {folder}/record.txt",
    "log blank -o {folder}/record.pdf --days 0",
    "log blank -o {folder}/record.pdf --paper quarto",
    "listen",
    "listen {folder}/none.wav --pattern outside-in --tempo 80",
    "listen {folder} --pattern outside-in --tempo 80",
    "listen {folder}/noise --pattern outside-in --tempo 80",
    "listen {folder}/noise --pattern outside-in",
    "listen {folder}/noise --pattern outside-inn --tempo 80",
    "listen {folder}/noise --pattern outside-in --tempo 80 --offset soon",
    "doctor now",
    "drill",
    "drill none",
    "drill outside-in --chords H",
    "drill outside-in --tempo 1000",
    "drill outside-in --sang",
]


@pytest.mark.parametrize("line", MISTAKES)
def test_every_mistake_is_one_sentence_and_exit_code_2(run: Run, line: str, tmp_path: Path) -> None:
    """Nothing on stdout, one line on stderr that is a sentence, no trace of the program's insides."""
    (tmp_path / "noise").write_bytes(bytes(range(256)) * 8)
    (tmp_path / "f.csv").mkdir()
    code, out, err = run(*line.format(folder=tmp_path).split(" "))
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert err.rstrip().endswith((".", "?"))
    assert not any(word in err for word in ("Traceback", "usage:", "argparse", "Error("))


@pytest.mark.parametrize(
    ("line", "nearest"),
    [
        ("patern", "coach patterns"),
        ("log exprt x.csv", "coach log export"),
        ("show outside-in --chord C", "--chords"),
        ("show outside-inn", "outside-in"),
        ("log add --drill outside-inn --tempo 80 --verdict held", "outside-in"),
    ],
)
def test_a_slip_gets_the_nearest_word(run: Run, line: str, nearest: str) -> None:
    """A misspelt command, option, pattern or drill is answered with the likely one."""
    code, _, err = run(*line.split())
    assert code == 2
    assert f"did you mean {nearest}?" in err


def test_a_place_that_cannot_be_written_is_one_sentence(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """COACH_HOME below a plain file: the take cannot be logged, and says so (exit code 1)."""
    (tmp_path / "file").write_text("", "utf-8")
    monkeypatch.setenv("COACH_HOME", str(tmp_path / "file" / "home"))
    code, out, err = run("log", "add", "--drill", "outside-in", "--tempo", "80", "--verdict", "held")
    assert (code, out) == (1, "")
    assert err.count("\n") == 1


def test_the_unforeseen_is_one_sentence_and_its_trail_is_kept(
    run: Run, monkeypatch: pytest.MonkeyPatch, coach_home: Path
) -> None:
    """A fault inside: exit code 1, the sentence names the log file, the traceback is in there."""
    import coach.shelf

    def fault() -> None:
        raise ZeroDivisionError("sand in the works")

    monkeypatch.setattr(coach.shelf, "library", fault)
    code, out, err = run("patterns")
    assert (code, out) == (1, "")
    assert err.count("\n") == 1
    assert str(coach_home / "coach.log") in err
    kept = (coach_home / "coach.log").read_text("utf-8")
    assert "Traceback" in kept
    assert "sand in the works" in kept


def test_a_reader_that_has_enough_is_no_trouble() -> None:
    """`coach show ... | head -1` ends quietly."""
    command = f'"{sys.executable}" -m coach show outside-in --loops 999 --json | head -n 1'
    done = subprocess.run(["bash", "-o", "pipefail", "-c", command], capture_output=True, text=True)
    assert (done.returncode, done.stdout, done.stderr) == (0, "{\n", "")


def test_another_log_that_is_none_is_refused(run: Run, data: Data, tmp_path: Path) -> None:
    """Noise is no ledger: one sentence, and nothing was taken over."""
    (tmp_path / "noise").write_bytes(bytes(range(256)) * 8)
    code, out, err = run("log", "merge", str(tmp_path / "noise"))
    assert code in (1, 2)
    assert out == ""
    assert err.count("\n") == 1
    assert data("log") == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_a_full_disk_under_stdout_is_one_sentence() -> None:
    """What could not be written is not passed over in silence."""
    with open("/dev/full", "w") as full:
        words = [sys.executable, "-m", "coach", "patterns"]
        done = subprocess.run(words, stdout=full, stderr=subprocess.PIPE, text=True)
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "Traceback" not in done.stderr


def test_a_stop_by_the_player_is_quiet(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C: exit code 130 and no words."""
    import coach.shelf

    def stop() -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(coach.shelf, "library", stop)
    assert run("patterns") == (130, "", "\n")


def test_a_terminal_without_unicode_still_gets_its_answer() -> None:
    """With an ASCII terminal a sign it lacks is replaced; nothing crashes."""
    done = shell("show", "six-eight-thumb", "--layer", "thumb", env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert (done.returncode, done.stderr) == (0, "")

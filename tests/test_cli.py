"""The commands as scripts and players call them: answers, units, exit codes."""

from __future__ import annotations

import json
import wave
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from coach.cli import COMMANDS, load
from coach.music.meter import METERS
from coach.music.tempo import constant_tempo
from tests.calls import Data, Run, shell

# Help and the table of commands ---------------------------------------------------------------


def test_the_overview_names_every_command(run: Run) -> None:
    """`coach --help` is complete and ends well."""
    code, out, err = run("--help")
    assert (code, err) == (0, "")
    assert all(f"\n  {name}" in out for name in COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself_with_an_example(run: Run, name: str) -> None:
    """`coach COMMAND --help` has an example that begins with the command itself."""
    code, out, err = run(*name.split(), "--help")
    assert (code, err) == (0, "")
    assert f"\nexample:\n  coach {name}" in out


def test_the_version_is_the_package_s(run: Run) -> None:
    """One number, in one place."""
    from coach import __version__

    assert run("--version") == (0, f"coach {__version__}\n", "")


# Patterns, show, layers -----------------------------------------------------------------------

MINE = """\
title = "Two and a pinch"
meter = "4/4"
slots = 4
tags = ["plain"]
[[bars]]
p = "r . a ."
i = ". 3 . 3"
m = "2! . . ."
"""


@pytest.fixture
def mine(coach_home: Path) -> str:
    """An own pattern in the player's folder."""
    (coach_home / "patterns").mkdir(parents=True)
    (coach_home / "patterns" / "two-and-a-pinch.toml").write_text(MINE, "utf-8")
    return "two-and-a-pinch"


def test_patterns_lists_shipped_and_own_ones(data: Data, mine: str) -> None:
    """Every row has the contract's fields; the player's own is marked."""
    rows = data("patterns")
    assert {"id", "title", "meter", "slots", "bars", "feel", "tags", "own"} <= set(rows[0])
    assert [row["id"] for row in rows if row["own"]] == [mine]
    assert len(rows) > 1


def test_a_broken_pattern_file_is_told_and_the_rest_is_listed(run: Run, mine: str, coach_home: Path) -> None:
    """One bad file never hides the others; the note is on stderr, so that JSON stays JSON."""
    (coach_home / "patterns" / "slip.toml").write_text(MINE.replace('"r . a ."', '"r . a"'), "utf-8")
    code, out, err = run("patterns", "--json")
    assert code == 0
    assert mine in [row["id"] for row in json.loads(out)]
    assert "slip.toml" in err
    assert "line 6" in err


def test_show_gives_each_pluck_its_string_fret_and_pitch(data: Data, mine: str) -> None:
    """C x32010: the root is C3 on string 5, the alternate E3 on string 4; m pinches C4 with the root."""
    shown = data("show", mine, "--chords", "C")
    assert (shown["pattern"], shown["meter"], shown["layer"], shown["slots"]) == (mine, "4/4", "full", 4)
    assert shown["bars"][0]["chord"] == "C"
    assert shown["bars"][0]["shape"] == "x32010"
    fields = ("bar", "beat", "string", "fret", "midi", "finger", "role")
    assert [tuple(pluck[f] for f in fields) for pluck in shown["plucks"]] == [
        (0, "0", 5, 3, 48, "p", "r"),
        (0, "0", 2, 1, 60, "m", "-"),
        (0, "1", 3, 0, 55, "i", "-"),
        (0, "2", 4, 2, 52, "p", "a"),
        (0, "3", 3, 0, 55, "i", "-"),
    ]


def test_show_counts_bars_through_all_loops(data: Data, mine: str) -> None:
    """Two chords three times round are six bars, numbered from 0, each with its chord and shape."""
    shown = data("show", mine, "--chords", "C | F", "--loops", "3", "--shapes", "F=133211")
    assert [(b["chord"], b["shape"]) for b in shown["bars"]] == [("C", "x32010"), ("F", "133211")] * 3
    assert {p["bar"] for p in shown["plucks"]} == set(range(6))


def test_chords_that_share_a_bar_each_tell_where_they_begin(data: Data, mine: str) -> None:
    """`F G` in 4/4: F on beat 0, G on beat 2; no chord has the shape of six muted strings."""
    bars = data("show", mine, "--chords", "F G | N")["bars"]
    assert [(c["beat"], c["chord"]) for c in bars[0]["chords"]] == [("0", "F"), ("2", "G")]
    assert (bars[1]["chord"], bars[1]["shape"]) == ("N", "xxxxxx")


@pytest.mark.parametrize(
    ("layer", "fingers"), [("thumb", "pp"), ("tune", "pmp"), ("full", "pmipi")]
)  # fmt: skip
def test_a_layer_leaves_out_what_it_says(data: Data, mine: str, layer: str, fingers: str) -> None:
    """Thumb alone, then the accented note, then everything."""
    plucks = data("show", mine, "--layer", layer)["plucks"]
    assert "".join(p["finger"] for p in plucks) == fingers


def test_layers_grow_from_the_thumb_to_the_full_pattern(data: Data, mine: str) -> None:
    """Two bass notes, the tune note over them, all five."""
    rows = data("layers", mine, "--chords", "C")
    assert [(r["layer"], r["plucks"]) for r in rows] == [("thumb", 2), ("tune", 3), ("full", 5)]


def test_a_pattern_may_be_given_as_a_path(data: Data, tmp_path: Path) -> None:
    """A file anywhere serves as well as an id; its id is the file's stem."""
    path = tmp_path / "elsewhere.toml"
    path.write_text(MINE, "utf-8")
    assert data("show", str(path))["pattern"] == "elsewhere"


def test_the_tab_shows_six_strings_count_and_fingers(run: Run, mine: str) -> None:
    """String 1 on top; fingers above the lines, the thumb below, then the count."""
    _, out, _ = run("show", mine, "--chords", "C")
    assert out.splitlines()[2:] == [
        "    C",
        "    m i   i",
        "E |--------|",
        "B |-1------|",
        "G |---0---0|",
        "D |-----2--|",
        "A |-3------|",
        "E |--------|",
        "    p   p",
        "    1 2 3 4",
    ]


def test_a_count_to_twelve_keeps_its_numbers_apart(run: Run) -> None:
    """12/8 in eighths: 10, 11 and 12 need a cell more each."""
    _, out, _ = run("show", "twelve-eight-slow-roll")
    assert out.splitlines()[-1].split() == [str(k) for k in range(1, 13)]


def test_a_tab_into_a_pipe_is_80_columns_wide() -> None:
    """Many bars wrap at bar lines and never pass column 80."""
    done = shell("show", "outside-in", "--chords", "C | Am | F | G | C | Am | F | G")
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    assert sum(line.startswith("A |") for line in lines) > 1


def test_why_tells_what_was_moved(run: Run, mine: str) -> None:
    """With string 3 muted, the index moves to a neighbour and says so."""
    code, out, _ = run("show", mine, "--chords", "C", "--shapes", "C=x32x10", "--why")
    assert code == 0
    assert "string 3 is muted" in out


# Ramp and click -------------------------------------------------------------------------------


def test_a_ramp_in_steps_lands_on_its_end(data: Data) -> None:
    """80 to 92 by 5 every 2 bars: 80 80 85 85 90 90 92 92, and each bar starts where the one before ends."""
    plan = data("ramp", "--from", "80", "--to", "92", "--step", "5", "--every", "2")
    assert [bar["bpm"] for bar in plan["bars"]] == [80, 80, 85, 85, 90, 90, 92, 92]
    starts = [bar["start_s"] for bar in plan["bars"]]
    assert starts[:3] == [0.0, 3.0, 6.0]
    assert starts[4] == pytest.approx(6 + 2 * 240 / 85, abs=1e-12)
    assert plan["beats"][5] == {"bar": 1, "beat": "1", "time_s": 3.75}


def test_six_eight_is_clicked_in_two(data: Data) -> None:
    """A bar of 6/8 at 60 dotted quarters a minute lasts two seconds and has two beats."""
    plan = data("ramp", "--from", "60", "--to", "60", "--bars", "2", "--meter", "6/8")
    assert [(b["bar"], b["beat"], b["time_s"]) for b in plan["beats"]] == [
        (0, "0", 0.0),
        (0, "1", 1.0),
        (1, "0", 2.0),
        (1, "1", 3.0),
    ]


def test_a_smooth_ramp_meets_the_sum_of_its_beats(data: Data) -> None:
    """60 to 120 bpm linear in beats over 16 beats: 60/a · ln 2 seconds, a = 60/16 (the integral of 60/(60 + ax))."""
    plan = data("ramp", "--from", "60", "--to", "120", "--smooth", "4", "--bars", "5")
    assert [bar["bpm"] for bar in plan["bars"]] == [60, 75, 90, 105, 120]
    assert plan["bars"][4]["start_s"] == pytest.approx(16 * 0.6931471805599453, abs=1e-9)


def test_a_ramp_downwards_goes_down(data: Data) -> None:
    """Slowing to learn is a ramp as well."""
    bars = data("ramp", "--from", "100", "--to", "90", "--step", "5", "--every", "1")["bars"]
    assert [bar["bpm"] for bar in bars] == [100, 95, 90]


def test_without_a_kind_a_ramp_climbs_by_about_three_percent(run: Run) -> None:
    """70 to 76: steps of 2 bpm every 4 bars, said on stderr."""
    code, out, err = run("ramp", "--from", "70", "--to", "76", "--json")
    assert code == 0
    assert [b["bpm"] for b in json.loads(out)["bars"]] == [70] * 4 + [72] * 4 + [74] * 4 + [76] * 4
    assert "steps of 2 bpm" in err


@pytest.mark.parametrize(("step", "noted"), [("3", False), ("1", True), ("10", True)])
def test_a_step_nobody_feels_or_a_leap_is_noted(run: Run, step: str, noted: bool) -> None:
    """At 80 to 100 bpm 3 is 3 to 3.75 %; 1 is under 1.5 %, 10 over 5 % (Drake & Botte 1993). The table still comes."""
    code, out, err = run("ramp", "--from", "80", "--to", "100", "--step", step, "--every", "1", "--json")
    assert code == 0
    assert json.loads(out)["bars"]
    assert ("1.5 %" in err) is noted


def _onsets(path: Path) -> list[int]:
    """Frames where sound begins after at least 1000 frames of silence."""
    with wave.open(str(path)) as file:
        step = file.getnchannels() * file.getsampwidth()
        raw = file.readframes(file.getnframes())
    loud = [k for k in range(len(raw) // step) if any(raw[k * step : (k + 1) * step])]
    return [b for a, b in zip([-2000, *loud], loud, strict=False) if b - a > 1000]


def test_every_click_in_the_file_stands_on_its_frame(data: Data, tmp_path: Path) -> None:
    """137 bpm at 44100 Hz: frame round(k · 60/137 · 44100), the first of four accented; the samples begin there."""
    path = tmp_path / "c.wav"
    said = data("click", "--tempo", "137", "--bars", "6", "--rate", "44100", "-o", str(path))
    expected = [round(Fraction(60 * k, 137) * 44100) for k in range(24)]
    assert [c["frame"] for c in said["clicks"]] == expected
    assert [c["accent"] for c in said["clicks"]] == [True, False, False, False] * 6
    assert (said["rate"], said["frames"]) == (44100, round(Fraction(60 * 24, 137) * 44100))
    assert _onsets(path) == expected


@pytest.mark.parametrize(
    "kind", [("--step", "4", "--every", "1"), ("--smooth", "3")], ids=["steps", "smooth"]
)  # fmt: skip
def test_click_and_ramp_tell_the_same_times(data: Data, tmp_path: Path, kind: tuple[str, ...]) -> None:
    """A ramp's clicks stand at round(time · rate) of the table `coach ramp` prints, and so do the samples."""
    path = tmp_path / "c.wav"
    ends = ("--from", "90", "--to", "102", "--bars", "5", "--meter", "3/4", *kind)
    times = data("ramp", *ends)["beats"]
    clicks = data("click", *ends, "-o", str(path))["clicks"]
    assert [c["frame"] for c in clicks] == [round(b["time_s"] * 48000) for b in times]
    assert [(c["bar"], c["beat"]) for c in clicks] == [(b["bar"], b["beat"]) for b in times]
    assert _onsets(path) == [c["frame"] for c in clicks]


def test_a_click_file_that_exists_is_kept_unless_forced(run: Run, tmp_path: Path) -> None:
    """Without --force the old file stays to the byte."""
    path = tmp_path / "c.wav"
    path.write_bytes(b"mine")
    words = ("click", "--tempo", "90", "--bars", "1", "-o", str(path))
    code, out, err = run(*words)
    assert (code, out) == (1, "")
    assert "--force" in err
    assert path.read_bytes() == b"mine"
    assert run(*words, "--force")[0] == 0
    assert path.read_bytes()[:4] == b"RIFF"


# Today, drills, log ---------------------------------------------------------------------------


def test_a_first_day_has_a_plan_with_reasons(data: Data, coach_home: Path) -> None:
    """Nothing set up: the minutes add up, every block says why, and asking makes no file."""
    plan = data("today", "--minutes", "25")
    assert plan["minutes"] == 25 == sum(block["minutes"] for block in plan["blocks"])
    assert {"drill", "title", "minutes", "tempo_from", "tempo_to", "layer", "why"} <= set(plan["blocks"][0])
    assert all(block["why"] for block in plan["blocks"])
    assert not coach_home.exists()


def test_the_minutes_of_the_settings_count_when_none_are_given(data: Data, coach_home: Path) -> None:
    """minutes = 12 in settings.toml makes a plan of twelve."""
    coach_home.mkdir()
    (coach_home / "settings.toml").write_text("minutes = 12\n", "utf-8")
    assert data("today")["minutes"] == 12


def test_a_broken_settings_file_is_a_note_not_a_stop(run: Run, coach_home: Path) -> None:
    """The plan comes with the usual twenty minutes; the note is on stderr."""
    coach_home.mkdir()
    (coach_home / "settings.toml").write_text("minutes = zwanzig\n", "utf-8")
    code, out, err = run("today", "--json")
    assert (code, json.loads(out)["minutes"]) == (0, 20)
    assert "settings.toml: line 1" in err


def test_coach_without_a_terminal_prints_today_and_how_to_open_it() -> None:
    """In a pipe there is no screen: the plan as text, exit code 0, nothing on stderr."""
    done = shell()
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("Today: 20 minutes\n")
    assert "run `coach` in a terminal" in done.stdout


def test_drills_know_no_steady_tempo_before_anything_was_played(data: Data) -> None:
    """steady_bpm is null until known."""
    rows = data("drills")
    assert {"drill", "title", "kind", "steady_bpm", "low", "high", "target", "due", "recall"} <= set(rows[0])
    assert all(row["steady_bpm"] is None for row in rows)
    assert [row["drill"] for row in rows] != []


def test_a_logged_take_is_listed_as_it_was_given(data: Data) -> None:
    """30 March 19:30 at +02:00 is 17:30 UTC of that day."""
    added = data(
        *("log", "add", "--drill", "outside-in", "--tempo", "92.5", "--verdict", "held"),
        *("--bars", "32", "--stumbles", "2", "--at", "2026-03-30T19:30+02:00"),
    )
    (row,) = data("log")
    assert row == added
    assert row["at"].startswith("2026-03-30T17:30:00")
    fields = ("drill", "tempo", "bars", "stumbles", "verdict", "layer")
    assert [row[f] for f in fields] == ["outside-in", 92.5, 32, 2, "held", "full"]


def test_a_time_without_offset_is_local_time(data: Data, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a zone five hours behind UTC, 20:00 is 01:00 UTC of the next day; the local day is the day before."""
    import time

    monkeypatch.setenv("TZ", "EST5")
    time.tzset()
    try:
        row = data(
            *("log", "add", "--drill", "outside-in", "--tempo", "80", "--verdict", "shaky", "--at", "2026-01-10T20:00")
        )
    finally:
        monkeypatch.undo()
        time.tzset()
    assert row["at"].startswith("2026-01-11T01:00:00")
    assert row["local_day"] == "2026-01-10"


def test_a_log_goes_out_and_into_another_home(
    run: Run, data: Data, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exported as JSON, merged twice elsewhere: the same one take."""
    run("log", "add", "--drill", "outside-in", "--tempo", "80", "--verdict", "flowing")
    here = data("log")
    out = tmp_path / "log.json"
    assert data("log", "export", str(out))["takes"] == 1
    monkeypatch.setenv("COACH_HOME", str(tmp_path / "other"))
    for added in (1, 0):
        assert data("log", "merge", str(out))["added"]["takes"] == added
    assert data("log") == here


def test_the_csv_has_a_head_and_a_line_for_each_take(run: Run, tmp_path: Path) -> None:
    """A spreadsheet can open it; a second export does not write over it."""
    import csv

    for _ in range(2):
        run("log", "add", "--drill", "outside-in", "--tempo", "80", "--verdict", "flowing", "--bars", "8")
    path = tmp_path / "log.csv"
    assert run("log", "export", str(path))[0] == 0
    rows = list(csv.DictReader(path.read_text("utf-8").splitlines()))
    assert [(row["drill"], row["bars"], row["verdict"]) for row in rows] == [("outside-in", "8", "flowing")] * 2
    assert run("log", "export", str(path))[0] != 0


def test_a_ledger_that_is_none_is_refused_and_left_alone(run: Run, coach_home: Path) -> None:
    """A text file in its place: one sentence, the file unchanged."""
    coach_home.mkdir()
    ledger = coach_home / "ledger.sqlite3"
    ledger.write_text("notes of mine, long enough to be no database " * 40, "utf-8")
    before = ledger.read_bytes()
    for words in (("log",), ("today",), ("drills",)):
        code, out, err = run(*words)
        assert code in (1, 2)
        assert out == ""
        assert err.count("\n") == 1
    assert ledger.read_bytes() == before


# Doctor and drill -----------------------------------------------------------------------------


def test_doctor_tells_sound_midi_and_paths(data: Data, coach_home: Path) -> None:
    """Always an answer, with or without a sound card; the paths are the player's own."""
    seen = data("doctor")
    assert {"backend", "devices"} <= set(seen["audio"])
    assert {"inputs", "outputs"} <= set(seen["midi"])
    assert seen["paths"]["ledger"] == str(coach_home / "ledger.sqlite3")
    assert any("doctor or a performing-arts clinician" in text for text in seen["cautions"])


def test_doctor_reports_what_it_cannot_read_and_goes_on(data: Data, coach_home: Path) -> None:
    """A broken ledger, setting and pattern are three problems, not a failure."""
    (coach_home / "patterns").mkdir(parents=True)
    (coach_home / "patterns" / "slip.toml").write_text("title = 1", "utf-8")
    (coach_home / "settings.toml").write_text("bell = 3", "utf-8")
    (coach_home / "ledger.sqlite3").write_bytes(b"no database at all " * 60)
    problems = data("doctor")["problems"]
    assert len(problems) == 3
    assert all("\n" not in problem for problem in problems)


def test_drill_without_a_terminal_says_so() -> None:
    """A script gets exit code 1 and the command that would print the pattern."""
    done = shell("drill", "outside-in")
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.count("\n") == 1
    assert "coach show outside-in" in done.stderr


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """A terminal is there and the screen is a stand-in that notes what it was opened with."""
    import coach.commands.opening
    import coach.screens.app

    calls: list[Any] = []

    def run_app(first: Any = None, *, chords: Any = None, world: Any = None) -> int:
        calls.append((first, chords, world))
        return 0

    monkeypatch.setattr(coach.commands.opening, "has_terminal", lambda: True)
    monkeypatch.setattr(coach.screens.app, "run_app", run_app)
    return calls


def test_with_a_terminal_coach_opens_today(run: Run, opened: list[Any]) -> None:
    """No words, no arguments: straight to the day's plan."""
    assert run() == (0, "", "")
    assert opened == [(None, None, None)]


def test_drill_opens_the_stage_on_any_pattern_file(run: Run, opened: list[Any], tmp_path: Path) -> None:
    """A file from elsewhere, its chords, 92 bpm, thumb alone for singing."""
    path = tmp_path / "elsewhere.toml"
    path.write_text(MINE, "utf-8")
    assert run("drill", str(path), "--chords", "G | C", "--tempo", "92", "--sing")[0] == 0
    ((block, chords, world),) = opened
    assert (block.drill, block.tempo_from, block.layer, chords) == ("elsewhere", 92, "thumb", "G | C")
    assert world.library.patterns["elsewhere"].title == "Two and a pinch"
    assert world.drill("elsewhere").pattern == "elsewhere"


# The table ------------------------------------------------------------------------------------


def test_the_table_and_the_modules_agree() -> None:
    """Every command of the table exists in its module, and no module has one more."""
    for name, (module, _) in COMMANDS.items():
        assert load(name).about
        own = __import__(f"coach.commands.{module}", fromlist=["COMMANDS"]).COMMANDS
        assert set(own) == {n for n, (m, _) in COMMANDS.items() if m == module}


@pytest.mark.parametrize("meter", METERS)
def test_every_meter_can_be_clicked(data: Data, meter: str) -> None:
    """A bar of each meter at 120 has the beats its signature says, half a second apart."""
    beats = data("ramp", "--from", "120", "--to", "120", "--bars", "1", "--meter", meter)["beats"]
    assert [b["time_s"] for b in beats] == [
        constant_tempo(Fraction(120)).seconds(Fraction(k)) for k in range(len(beats))
    ]
    assert len(beats) == METERS[meter].beats

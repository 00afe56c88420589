"""`coach sheet`, `track`, `pack` and `unpack` as scripts and players call them."""

from __future__ import annotations

import errno
import json
import shutil
import wave
import zipfile
from fractions import Fraction
from pathlib import Path

import pytest

from coach import shelf
from coach.plan.cautions import CAUTIONS
from tests.calls import Data, Run, shell

SONG = """\
title = "Ropes at the landing"
key = "G"
meter = "4/4"
tempo = 90
order = ["Lead-in", "Verse", "Turn", "Verse"]

[parts.Lead-in]
bars = [{ chords = "D", beats = 1, words = "The", tune = "D4" }]

[parts.Verse]
bars = [
  { chords = "G", words = "ropes|are|wet|and", tune = "G4 A4 B4 A4" },
  { chords = "C D", words = "slow", tune = "G4:2 -:2" },
  { chords = "G" },
]

[parts.Turn]
meter = "3/4"
tempo = 75
bars = [{ chords = "Em" }, { chords = "D", hold = true }, { chords = "G", silent = true }]

[arrangements.plain]
pattern = "outside-in"
capo = 2
[arrangements.plain.parts.Turn]
pattern = "PATTERN_IN_THREE"
[arrangements.full]
pattern = "outside-in"
singing = "pinches"
[arrangements.full.parts.Turn]
pattern = "PATTERN_IN_THREE"
"""


def in_three() -> str:
    """The id of a shipped pattern in 3/4."""
    return next(p.id for p in shelf.library().patterns.values() if str(p.meter) == "3/4")


@pytest.fixture
def song(coach_home: Path) -> Path:
    """A song of the player's own: a pick-up, a change of meter, a held and a silent bar."""
    (coach_home / "songs").mkdir(parents=True)
    path = coach_home / "songs" / "ropes.song.toml"
    path.write_text(SONG.replace("PATTERN_IN_THREE", in_three()), "utf-8")
    return path


# sheet ----------------------------------------------------------------------------------------

BEGINS = {"txt": b"Outside in", "pdf": b"%PDF-", "musicxml": b"<?xml", "mid": b"MThd"}


@pytest.mark.parametrize("ending", BEGINS)
def test_a_sheet_is_of_the_kind_its_name_says(ending: str, data: Data, tmp_path: Path) -> None:
    """Each of the four, with the contract's fields and the bars that were asked for."""
    path = tmp_path / f"a.{ending}"
    told = data("sheet", "outside-in", "--chords", "C | Am | F | G", "-o", str(path))
    assert (told["file"], told["bars"]) == (str(path), 4)
    assert told["pages"] >= 1
    assert path.read_bytes().startswith(BEGINS[ending])


@pytest.mark.parametrize("ending", BEGINS)
def test_the_same_sheet_is_the_same_file(ending: str, data: Data, song: Path, tmp_path: Path) -> None:
    """No date and no path of this machine gets into it."""
    for name in ("a", "b"):
        data("sheet", "ropes", "-o", str(tmp_path / f"{name}.{ending}"))
    assert (tmp_path / f"a.{ending}").read_bytes() == (tmp_path / f"b.{ending}").read_bytes()


def test_a_song_s_sheet_is_of_its_first_arrangement(data: Data, song: Path, tmp_path: Path) -> None:
    """And says which that is; another can be named. Ten bars are played."""
    told = data("sheet", "ropes", "-o", str(tmp_path / "a.txt"))
    assert (told["arrangement"], told["bars"]) == ("plain", 10)
    assert data("sheet", str(song), "--arrangement", "full", "-o", str(tmp_path / "b.txt"))["arrangement"] == "full"


def test_singing_thins_the_bars_with_words(data: Data, song: Path, tmp_path: Path) -> None:
    """The first bar of the verse has words and keeps its four bass notes; the third has none and is whole."""
    data("sheet", "ropes", "--sing", "-o", str(tmp_path / "a.txt"))
    verse = (tmp_path / "a.txt").read_text().split("\nVerse")[1]
    lines = verse.splitlines()
    letters = [line for line in lines if set(line) <= set(" ima") and line.strip()]
    thumbs = [line for line in lines if set(line) <= set(" p") and line.strip()]
    assert len("".join(thumbs).split()) >= 12
    _, first, _, third, _ = next(line for line in lines if line.startswith("E |")).split("|")
    assert set(first) == {"-"}
    assert set(third) != {"-"}
    assert letters


def test_the_ladder_of_a_pattern_as_pdf(data: Data, tmp_path: Path) -> None:
    """It has more pages or bars than the pattern alone."""
    data("sheet", "outside-in", "--ladder", "-o", str(tmp_path / "a.pdf"))
    data("sheet", "outside-in", "--layer", "full", "-o", str(tmp_path / "b.pdf"))
    assert (tmp_path / "a.pdf").stat().st_size > (tmp_path / "b.pdf").stat().st_size


def test_letters_that_the_page_cannot_show_are_told(run: Run, song: Path, tmp_path: Path) -> None:
    """Accents and Cyrillic are there; Han is not, and the player hears of it on stderr, for a PDF only."""
    song.write_text(song.read_text("utf-8").replace("Ropes at", "Ropes \u0416\u00e9 \u8266 at"), "utf-8")
    code, _, err = run("sheet", "ropes", "-o", str(tmp_path / "a.pdf"))
    assert (code, err.count("\u8266"), "\u0416" in err) == (0, 1, False)
    assert run("sheet", "ropes", "-o", str(tmp_path / "a.txt"))[2] == ""


# track ----------------------------------------------------------------------------------------


def frames_in(path: Path) -> tuple[int, int]:
    """Frames and rate by the standard library."""
    with wave.open(str(path)) as file:
        return file.getnframes(), file.getframerate()


def test_a_track_has_the_contract_s_fields(data: Data, tmp_path: Path) -> None:
    """Two bars twice at 120 bpm after a bar of count-in: 20 beats of half a second and 1.5 s that ring on."""
    path = tmp_path / "a.wav"
    told = data("track", "outside-in", "--chords", "C | F", "--tempo", "120", "--loops", "2", "-o", str(path))
    shown = data("show", "outside-in", "--chords", "C | F", "--loops", "2")
    assert {"file", "rate", "frames", "plucks"} <= set(told)
    assert told["plucks"] == len(shown["plucks"])
    assert told["frames"] == round((20 / 2 + 1.5) * 48000)
    assert frames_in(path) == (told["frames"], told["rate"])
    assert told["clicks"] == 20


def test_a_layer_a_rate_and_no_click(data: Data, tmp_path: Path) -> None:
    """The thumb's plucks only, at 44.1 kHz, and clicks for the count-in alone."""
    words = ("--chords", "C", "--layer", "thumb", "--no-click", "--rate", "44100", "--bits", "24")
    told = data("track", "outside-in", *words, "-o", str(tmp_path / "a.wav"))
    layers = {row["layer"]: row["plucks"] for row in data("layers", "outside-in", "--chords", "C")}
    assert (told["plucks"], told["clicks"], told["rate"]) == (layers["thumb"], 4, 44100)
    with wave.open(str(tmp_path / "a.wav")) as file:
        assert file.getsampwidth() == 3


def test_a_climb_goes_round_until_it_is_done(data: Data, run: Run, tmp_path: Path) -> None:
    """60 to 72 in steps of 6 every 2 bars takes 6 bars: of one bar, six times round. It lasts as long as the ramp."""
    climb = ("--to", "72", "--step", "6", "--every", "2")
    words = ("track", "outside-in", "--chords", "C", "--tempo", "60", *climb, "--count-in", "0")
    told = data(*words, "-o", str(tmp_path / "a.wav"))
    assert told["loops"] == 6
    seconds = 8 * 60 * (Fraction(1, 60) + Fraction(1, 66) + Fraction(1, 72)) + Fraction(3, 2)
    assert told["frames"] == pytest.approx(float(seconds) * 48000, abs=1)


def test_a_song_s_parts_keep_their_tempos_in_proportion(data: Data, song: Path, tmp_path: Path) -> None:
    """13 beats before, 12 after at 45 bpm; 9 beats at half of 75: and the count-in of 4 and 3 before the pick-up."""
    told = data("track", "ropes", "--tempo", "45", "-o", str(tmp_path / "a.wav"))
    seconds = (7 + 1 + 12 + 12) * Fraction(60, 45) + 9 * 60 / Fraction(75, 2) + Fraction(3, 2)
    assert told["frames"] == pytest.approx(float(seconds) * 48000, abs=1)


def test_the_voice_can_be_left_out(data: Data, song: Path, tmp_path: Path) -> None:
    """Two tracks of the same length that differ."""
    one = data("track", "ropes", "-o", str(tmp_path / "a.wav"))
    other = data("track", "ropes", "--no-voice", "-o", str(tmp_path / "b.wav"))
    assert one["frames"] == other["frames"]
    assert (tmp_path / "a.wav").read_bytes() != (tmp_path / "b.wav").read_bytes()


def test_a_person_at_a_terminal_sees_how_far_it_is(
    data: Data, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From few per cent to all of it, on stderr, and the line is wiped away at the end; the samples are the same."""
    import sys
    from io import StringIO

    class Terminal(StringIO):
        def isatty(self) -> bool:
            return True

    words = ("track", "outside-in", "--chords", "C | F", "-o")
    data(*words, str(tmp_path / "a.wav"))
    seen = Terminal()
    with monkeypatch.context() as patched:
        patched.setattr(sys, "stderr", seen)
        data(*words, str(tmp_path / "b.wav"))
    steps = [int(text[:3]) for text in seen.getvalue().split("] ")[1:]]
    assert steps == sorted(steps)
    assert steps[0] < 50
    assert steps[-1] == 100
    assert seen.getvalue().endswith(" \r")
    assert (tmp_path / "a.wav").read_bytes() == (tmp_path / "b.wav").read_bytes()


# Mistakes, existing files, disks --------------------------------------------------------------

MISTAKES = {
    "sheet outside-in -o {folder}/a.doc": ".musicxml",
    "sheet outside-in -o {folder}/a": ".pdf",
    "sheet outside-inn -o {folder}/a.txt": "did you mean outside-in?",
    "sheet rope -o {folder}/a.txt": "did you mean ropes?",
    "sheet outside-in": "--out",
    "sheet outside-in -o {folder}/a.pdf --paper a3": "letter",
    "sheet outside-in -o {folder}/a.txt --ladder": ".pdf",
    "sheet ropes -o {folder}/a.pdf --ladder": "pattern",
    "sheet ropes --chords C -o {folder}/a.txt": "--chords",
    "sheet ropes --arrangement plan -o {folder}/a.txt": "did you mean plain?",
    "sheet outside-in --arrangement plain -o {folder}/a.txt": "--arrangement",
    "sheet outside-in --layer bass -o {folder}/a.txt": "thumb",
    "sheet outside-in --loops 0 -o {folder}/a.txt": "--loops",
    "sheet outside-in --chords H -o {folder}/a.txt": "--chords",
    "sheet {folder}/none.song.toml -o {folder}/a.txt": "none.song.toml",
    "sheet {folder}/none.toml -o {folder}/a.txt": "none.toml",
    "sheet outside-in -o {folder}/.txt": "",
    "track outside-in -o {folder}/a.mp3": ".flac",
    "track outside-in": "--out",
    "track outside-in --tempo 10 -o {folder}/a.wav": "20",
    "track outside-in --tempo fast -o {folder}/a.wav": "--tempo",
    "track outside-in --step 3 -o {folder}/a.wav": "--to",
    "track outside-in --smooth 8 -o {folder}/a.wav": "--to",
    "track outside-in --to 90 --smooth 8 --step 3 -o {folder}/a.wav": "--smooth",
    "track outside-in --to 90 --smooth 0 -o {folder}/a.wav": "--smooth",
    "track outside-in --count-in 9 -o {folder}/a.wav": "--count-in",
    "track outside-in --rate 1 -o {folder}/a.wav": "--rate",
    "track outside-in --bits 20 -o {folder}/a.wav": "16 or 24",
    "track outside-in --loops 99999 -o {folder}/a.wav": "--loops",
    "track outside-in --loops 999 --tempo 20 -o {folder}/a.wav": "three hours",
    "track ropes --tempo 21 -o {folder}/a.wav": "Turn",
    "pack outside-in -o {folder}/a.tar": ".zip",
    "pack outside-in": "--out",
    "pack outside-in --tempo 0 -o {folder}/a.zip": "--tempo",
    "pack outside-in --tempo 25 -o {folder}/a.zip": "17.5",
    "pack none -o {folder}/a.zip": "no song and no pattern",
    "unpack {folder}/none.zip": "not there",
    "unpack {folder}": "folder",
    "unpack": "F.zip",
}


@pytest.mark.parametrize("line", MISTAKES)
def test_every_mistake_is_one_sentence_and_writes_nothing(line: str, run: Run, song: Path, tmp_path: Path) -> None:
    """Exit code 2, nothing on stdout, one line that says what would do, and no file."""
    folder = tmp_path / "folder"
    folder.mkdir()
    code, out, err = run(*line.format(folder=folder).split(" "))
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert err.rstrip().endswith((".", "?"))
    assert MISTAKES[line] in err
    assert list(folder.iterdir()) == []


WRITERS = {"a.txt": "sheet", "a.pdf": "sheet", "a.mid": "sheet", "a.wav": "track", "a.flac": "track", "a.zip": "pack"}


@pytest.mark.parametrize("name", WRITERS)
def test_an_existing_file_is_kept_unless_forced(name: str, run: Run, tmp_path: Path) -> None:
    """Exit code 1 and one sentence; with --force it is replaced."""
    path = tmp_path / name
    path.write_text("mine")
    code, _, err = run(WRITERS[name], "outside-in", "-o", str(path))
    assert (code, path.read_text()) == (1, "mine")
    assert "--force" in err
    assert run(WRITERS[name], "outside-in", "--force", "-o", str(path))[0] == 0
    assert path.read_bytes() != b"mine"
    assert [p.name for p in tmp_path.iterdir() if p.name != "home"] == [name]


@pytest.mark.parametrize("name", WRITERS)
def test_a_full_disk_leaves_nothing_behind(
    name: str, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The moment the file is to be made safe on the disk there is no room: exit code 1, one sentence, no file."""

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    (tmp_path / "out").mkdir()
    monkeypatch.setattr("coach.files.writing.os.fsync", full)
    code, out, err = run(WRITERS[name], "outside-in", "-o", str(tmp_path / "out" / name))
    assert (code, out) == (1, "")
    assert "the disk is full" in err
    assert err.count("\n") == 1
    assert list((tmp_path / "out").iterdir()) == []


@pytest.mark.parametrize("name", WRITERS)
def test_a_folder_that_is_not_there_is_one_sentence(name: str, run: Run, tmp_path: Path) -> None:
    """Nothing is made in its place."""
    code, _, err = run(WRITERS[name], "outside-in", "-o", str(tmp_path / "nowhere" / name))
    assert code == 1
    assert "choose a folder that exists" in err
    assert not (tmp_path / "nowhere").exists()


# pack and unpack ------------------------------------------------------------------------------


def everything(folder: Path) -> dict[str, bytes]:
    """Every file under a folder with its bytes."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a pack of the song, of a pattern of one's own, and that pattern."""
    folder = tmp_path_factory.mktemp("packs")
    home = folder / "teacher"
    (home / "songs").mkdir(parents=True)
    (home / "songs" / "ropes.song.toml").write_text(SONG.replace("PATTERN_IN_THREE", in_three()), "utf-8")
    (home / "patterns").mkdir()
    mine = 'title = "Mine"\nmeter = "4/4"\nslots = 4\n[[bars]]\np = "r . a ."\ni = ". 3 . 3"\n'
    (home / "patterns" / "mine.toml").write_text("# from a teacher\n" + mine, "utf-8")
    for name in ("ropes", "mine"):
        done = shell("pack", name, "--loops", "1", "-o", str(folder / f"{name}.zip"), env=_home(home))
        assert done.returncode == 0, done.stderr
    return folder


def _home(home: Path) -> dict[str, str]:
    import os

    return {**os.environ, "COACH_HOME": str(home), "PYTHONPATH": str(Path(__file__).parent.parent)}


def test_a_pack_holds_what_a_student_needs(made: Path) -> None:
    """Sheet as PDF and text, three tracks, the song, its patterns, and the cautions word for word."""
    with zipfile.ZipFile(made / "ropes.zip") as pack:
        names = pack.namelist()
        text = pack.read("README.txt").decode()
    tracks = [name for name in names if name.startswith("tracks/")]
    assert {name.rsplit(".", 1)[0] for name in tracks} == {f"tracks/ropes-{n}" for n in (70, 85, 100)}
    assert {"README.txt", "sheets/ropes.pdf", "sheets/ropes.txt", "songs/ropes.song.toml"} <= set(names)
    assert {"patterns/outside-in.toml", f"patterns/{in_three()}.toml"} <= set(names)
    assert all(caution in text for caution in CAUTIONS)


def test_the_same_pack_again_is_the_same_to_the_byte(made: Path, tmp_path: Path) -> None:
    """Made anew later, elsewhere."""
    done = shell("pack", "mine", "--loops", "1", "-o", str(tmp_path / "a.zip"), env=_home(made / "teacher"))
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "a.zip").read_bytes() == (made / "mine.zip").read_bytes()


def test_a_pack_is_taken_in(made: Path, data: Data, coach_home: Path, tmp_path: Path) -> None:
    """The song to one's songs, a strange pattern to one's patterns; what the coach brings already is not doubled."""
    told = data("unpack", str(made / "ropes.zip"))
    assert (coach_home / "songs" / "ropes.song.toml").read_text("utf-8").startswith("title")
    assert not (coach_home / "patterns").exists()
    assert len(told["already"]) == 2
    assert (coach_home / "handouts" / "ropes" / "sheets" / "ropes.pdf").exists()
    told = data("unpack", str(made / "mine.zip"), "--into", str(tmp_path / "papers"))
    assert (coach_home / "patterns" / "mine.toml").read_text("utf-8").startswith("# from a teacher")
    assert told["folder"] == str(tmp_path / "papers" / "mine")
    assert data("show", "mine", "--chords", "C")["pattern"] == "mine"
    assert data("sheet", "ropes", "-o", str(tmp_path / "a.txt"))["bars"] == 10


def test_a_second_time_nothing_is_new(made: Path, data: Data, coach_home: Path) -> None:
    """What is there already stays as it is, to the byte."""
    data("unpack", str(made / "ropes.zip"))
    before = everything(coach_home)
    told = data("unpack", str(made / "ropes.zip"))
    assert told["added"] == []
    assert everything(coach_home) == before


def test_a_different_song_of_one_s_own_is_never_overwritten(made: Path, run: Run, data: Data, coach_home: Path) -> None:
    """The whole pack is refused; with --keep-mine the rest is taken."""
    (coach_home / "songs").mkdir(parents=True)
    (coach_home / "songs" / "Ropes.song.toml").write_text("# mine\n" + SONG, "utf-8")
    before = everything(coach_home)
    code, out, err = run("unpack", str(made / "ropes.zip"))
    assert (code, out) == (2, "")
    assert "you have another 'songs/ropes.song.toml', and nothing is overwritten" in err
    assert everything(coach_home) == before
    told = data("unpack", str(made / "ropes.zip"), "--keep-mine")
    assert told["kept"] == [str(coach_home / "songs" / "Ropes.song.toml")]
    assert before.items() <= everything(coach_home).items()


def test_a_handout_folder_of_that_name_is_left_alone(made: Path, data: Data, coach_home: Path) -> None:
    """Another folder is made beside it."""
    (coach_home / "handouts" / "mine").mkdir(parents=True)
    (coach_home / "handouts" / "mine" / "notes.txt").write_text("mine")
    told = data("unpack", str(made / "mine.zip"))
    assert told["folder"] == str(coach_home / "handouts" / "mine-2")
    assert everything(coach_home / "handouts" / "mine") == {"notes.txt": b"mine"}


def test_a_refused_pack_leaves_not_even_the_home(run: Run, coach_home: Path, tmp_path: Path) -> None:
    """A link in it: exit code 2, one sentence, and the folder that was not there is not there."""
    info = zipfile.ZipInfo("songs/a.song.toml")
    info.create_system, info.external_attr = 3, 0o120777 << 16
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as pack:
        pack.writestr("sheets/good.txt", "good")
        pack.writestr(info, "/etc/passwd")
    code, out, err = run("unpack", str(tmp_path / "bad.zip"), "--json")
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "is a link" in err
    assert not coach_home.exists()


def test_a_broken_song_in_a_pack_is_told_with_its_line(run: Run, coach_home: Path, tmp_path: Path) -> None:
    """Nothing of the pack is taken."""
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as pack:
        pack.writestr("sheets/good.txt", "good")
        pack.writestr("songs/a.song.toml", SONG.replace('"G"', '"H"', 1))
    code, _, err = run("unpack", str(tmp_path / "bad.zip"))
    assert code == 2
    assert "'songs/a.song.toml' cannot be used: line 2" in err
    assert not coach_home.exists()


def test_a_disk_that_is_full_takes_nothing_in(
    made: Path, run: Run, coach_home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No room for the third file: those before it are taken back."""
    import os

    link, count = os.link, [0]

    def third(source: str, target: str, **more: object) -> None:
        count[0] += 1
        if count[0] == 3:
            raise FileExistsError(errno.EDQUOT, "Disk quota exceeded")
        link(source, target, **more)  # type: ignore[arg-type]

    monkeypatch.setattr("coach.paper.unpack.os.link", third)
    code, out, err = run("unpack", str(made / "ropes.zip"))
    assert (code, out) == (1, "")
    assert "the disk is full" in err
    assert not coach_home.exists()


def test_a_home_that_cannot_be_written_is_one_sentence(
    made: Path, run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A file stands where the folder should be."""
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("COACH_HOME", str(tmp_path / "file" / "home"))
    code, _, err = run("unpack", str(made / "mine.zip"))
    assert code == 1
    assert err.count("\n") == 1
    assert "COACH_HOME" in err


def test_json_is_one_document_while_progress_goes_elsewhere(made: Path, tmp_path: Path) -> None:
    """In a process of its own: stdout is JSON and nothing else, stderr is empty without a terminal."""
    words = ("track", "outside-in", "--loops", "2", "-o", str(tmp_path / "a.wav"), "--json")
    done = shell(*words, env=_home(tmp_path / "home"))
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["loops"] == 2


def test_without_the_library_flac_is_refused_and_packs_have_wav(
    data: Data, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The sentence names the extra; a pack is made all the same."""
    monkeypatch.setattr("coach.sound.sound_files.find_spec", lambda _: None)
    code, _, err = run("track", "outside-in", "-o", str(tmp_path / "a.flac"))
    assert code == 2
    assert "steady-thumb[flac]" in err
    files = data("pack", "outside-in", "--loops", "1", "-o", str(tmp_path / "a.zip"))["files"]
    assert [name for name in files if name.startswith("tracks/")] == [
        f"tracks/outside-in-{n}.wav" for n in (100, 70, 85)
    ]
    shutil.rmtree(tmp_path / "home", ignore_errors=True)

"""`coach neck` and `coach name` as scripts and players call them."""

from __future__ import annotations

import pytest

from coach.commands.drawings import Drawing, side_by_side
from coach.guitar.shape import Shape
from tests.calls import Data, Run


def test_neck_gives_each_shape_with_its_fingers_notes_and_bass(data: Data) -> None:
    """C x32010 first: ring, middle and first finger, C E G C E, the thumb on 5 and 4; a stretch of 68.7 mm."""
    rows = data("neck", "C")
    assert {"shape", "fingers", "barre", "notes", "bass", "cost", "span_mm", "missing", "why"} <= set(rows[0])
    first = rows[0]
    assert (first["shape"], first["fingers"], first["barre"]) == ("x32010", ".32.1.", None)
    assert first["notes"] == ["C", "E", "G", "C", "E"]
    assert first["bass"] == {"r": 5, "a": 4, "f": 5}
    assert first["span_mm"] == pytest.approx(68.7, abs=0.05)
    assert [row["cost"] for row in rows] == sorted(row["cost"] for row in rows)
    assert len(rows) > 100


def test_neck_keeps_to_the_limits_it_is_given(data: Data) -> None:
    """Three shapes at most, none above fret 3, none wider than two frets, none with the thumb unless asked."""
    rows = data("neck", "G", "--limit", "3", "--max-fret", "3", "--span", "2")
    assert len(rows) == 3
    for row in data("neck", "G", "--max-fret", "3", "--span", "2"):
        frets = [int(c) for c in row["shape"] if c not in "x0"]
        assert max(frets, default=0) <= 3
        assert max(frets, default=0) - min(frets, default=0) <= 1
        assert "T" not in row["fingers"]


def test_a_span_above_nine_is_millimetres(data: Data) -> None:
    """A small hand of 60 mm loses C x32010, which needs 68.7; 9 or less counts frets."""
    assert "x32010" not in [row["shape"] for row in data("neck", "C", "--span", "60")]
    assert data("neck", "C", "--span", "3")[0]["shape"] == "x32010"
    assert "422100" not in [row["shape"] for row in data("neck", "E/G#")]
    assert "422100" in [row["shape"] for row in data("neck", "E/G#", "--span", "4")]


def test_the_thumb_comes_over_when_asked(data: Data) -> None:
    """D/F# 200232 with T on string 6."""
    assert data("neck", "D/F#", "--thumb")[0]["fingers"] == "T..132"
    assert all("T" not in row["fingers"] for row in data("neck", "D/F#"))


def test_a_full_barre_is_told(data: Data) -> None:
    """F 133211: one finger at fret 1 from string 6 to string 1; without barres it is gone."""
    rows = {row["shape"]: row for row in data("neck", "F")}
    assert rows["133211"]["barre"] == {"fret": 1, "from": 6, "to": 1}
    assert "133211" not in [row["shape"] for row in data("neck", "F", "--barres", "none")]


def test_the_settings_say_whose_hand_it_is(data: Data, coach_home) -> None:  # type: ignore[no-untyped-def]
    """A thumb over the neck in the settings needs no option."""
    coach_home.mkdir()
    (coach_home / "settings.toml").write_text("thumb_over = true\n", "utf-8")
    assert data("neck", "D/F#", "--limit", "1")[0]["fingers"] == "T..132"


def test_neck_goes_by_any_tuning(data: Data) -> None:
    """By name or as six pitches; open G needs no finger for G."""
    by_name = data("neck", "G", "--tuning", "open-g", "--limit", "5")
    assert by_name == data("neck", "G", "--tuning", "D2 G2 D3 G3 B3 D4", "--limit", "5")
    assert by_name[0]["shape"] == "x00000"


def test_missing_tones_are_told(data: Data) -> None:
    """C7 x32310 goes without its fifth."""
    row = next(row for row in data("neck", "C7") if row["shape"] == "x32310")
    assert row["missing"] == ["fifth"]
    assert row["notes"] == ["C", "E", "Bb", "C", "E"]


def test_neck_draws_shapes_side_by_side(run: Run) -> None:
    """Names in one line, fingers on the strings, the thumb's strings below, no line wider than 80."""
    code, out, _ = run("neck", "C", "--limit", "2")
    lines = out.splitlines()
    assert code == 0
    assert lines[2].split() == ["x32010", "x32013"]
    assert lines[5].startswith("│ │ │ │ 1 │")
    assert lines[9].startswith("  r a")
    assert max(map(len, lines)) <= 100
    assert "x32010 costs 5.3: fingers down" in out


def test_a_wide_shape_is_drawn_whole() -> None:
    """Frets 7 to 11 are five: the picture has a fret more, and every finger is in it."""
    wide = Drawing("wide", Shape.parse("x7(11)98x", ".1432."), None)
    lines = list(side_by_side([wide, Drawing("C", Shape.parse("x32010", ".32.1."), None)]))
    assert len(lines) == len(list(side_by_side([Drawing("C", Shape.parse("x32010"), None)]))) + 1
    assert [line[:11].strip("│ ") for line in lines[3:8]] == ["1", "2", "3", "", "4"]


def test_no_shape_within_reach_is_said(run: Run, data: Data) -> None:
    """At fret 0 only open strings are left: no C there, in words or as an empty list."""
    code, out, err = run("neck", "C", "--max-fret", "0")
    assert (code, err) == (0, "")
    assert out.startswith("No shape for C is within this hand's reach")
    assert data("neck", "C", "--max-fret", "0") == []


def test_f_is_meant_in_c(data: Data) -> None:
    """x33010 with the key C: Fsus2/C, then Csus4, each with its reasons."""
    rows = data("name", "x33010", "--key", "C")
    assert [row["chord"] for row in rows] == ["Fsus2/C", "Csus4"]
    assert rows[0]["notes"] == ["C", "F", "G", "C", "E"]
    assert "IV" in rows[0]["reading"]
    assert "in C major" in rows[1]["reading"]


@pytest.mark.parametrize(("shape", "chord"), [("xx3211", "F"), ("133211", "F"), ("x33211", "F/C")])
def test_the_three_f_shapes(data: Data, shape: str, chord: str) -> None:
    """Two are F, the third has C lowest."""
    assert data("name", shape)[0]["chord"] == chord


def test_name_goes_by_any_tuning(data: Data) -> None:
    """All open in D A D G A D is Dsus4."""
    assert data("name", "000000", "--tuning", "dadgad")[0]["chord"] == "Dsus4"


def test_name_says_in_words_what_it_found(run: Run) -> None:
    """The shape, what sounds, and each reading with its reasons."""
    _, out, _ = run("name", "x33211", "--key", "C")
    assert "sounds C F A C F in C major" in out
    assert "F/C  F root, A major third, C fifth; its fifth C lies lowest; IV/5 in C major" in out


def test_what_nobody_names_is_said(run: Run, data: Data) -> None:
    """Two strings a semitone apart are no chord known here: said in words, an empty list as JSON."""
    code, out, err = run("name", "xx01xx")
    assert (code, err) == (0, "")
    assert "No chord known here sounds like this." in out
    assert data("name", "xx01xx") == []


MISTAKES = [
    ("neck", "needs"),
    ("neck H", "write a symbol"),
    ("neck c", "did you mean C"),
    ("neck Cmaj77", "did you mean Cmaj7"),
    ("neck C/H", "bass"),
    ("neck C --max-fret 99", "0 to 24"),
    ("neck C --max-fret -1", "0 to 24"),
    ("neck C --max-fret 20 --capo 7", "0 to 17"),
    ("neck C --span -5", "1 to 200"),
    ("neck C --span 0", "1 to 200"),
    ("neck C --span 25", "40 to 200"),
    ("neck C --span wide", "1 to 200"),
    ("neck C --span 2.5", "1 to 9"),
    ("neck C --limit 0", "1 to"),
    ("neck C --capo 13", "0 to 12"),
    ("neck C --tuning dadgat", "did you mean dadgad"),
    ("neck C --tuning E2,A2,D3", "six pitches"),
    ("neck C --barres some", "full, small, none"),
    ("neck C D", "one word too many"),
    ("neck C --thum", "--thumb"),
    ("name", "needs"),
    ("name x320100", "string 6 first"),
    ("name x3201", "string 6 first"),
    ("name 0(99)0000", "0 to 24"),
    ("name xxxxxx", "at least one string"),
    ("name C", "x or a fret"),
    ("name x32010 --key H", "write a key"),
    ("name x32010 --key Fb", "did you mean E"),
    ("name x32010 --tuning open-h", "did you mean open-g"),
]


@pytest.mark.parametrize(("line", "nearest"), MISTAKES)
def test_a_mistake_is_one_sentence_with_the_nearest_thing(run: Run, line: str, nearest: str) -> None:
    """Exit code 2, nothing on stdout, one sentence that says what would be understood."""
    code, out, err = run(*line.split(" "))
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert nearest in err
    assert not any(word in err for word in ("Traceback", "usage:", "argparse", "Error("))

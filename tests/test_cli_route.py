"""`coach shapes` and `coach keys` as scripts and players call them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from coach.guitar.shape import Shape
from tests.calls import Data, Run

# shapes ---------------------------------------------------------------------------------------


def shapes(answered: Any) -> list[str]:
    """The shapes of the route, in order."""
    return [row["shape"] for row in answered["shapes"]]


def test_the_route_has_a_shape_for_each_chord_and_a_line_for_each_change(data: Data) -> None:
    """Three bars, four chords: four shapes with fingers, three changes; C to A minor keeps two fingers down."""
    said = data("shapes", "C | Am | F G")
    assert [row["chord"] for row in said["shapes"]] == ["C", "Am", "F", "G"]
    assert {"chord", "shape", "fingers"} <= set(said["shapes"][0])
    assert shapes(said)[:2] == ["x32010", "x02210"]
    assert len(said["held"]) == 3
    first = said["held"][0]
    assert (first["from"], first["to"]) == ("C", "Am")
    assert [(f["finger"], f["string"], f["fret"]) for f in first["fingers"]] == [("1", 2, 1), ("2", 4, 2)]
    assert first["moved"] == ["3"]


def test_the_cost_is_what_shapes_and_changes_cost(data: Data) -> None:
    """The sum is shown with its terms."""
    said = data("shapes", "C | Am | F G")
    assert said["cost"] == pytest.approx(
        sum(row["cost"] for row in said["shapes"]) + sum(row["cost"] for row in said["held"]), abs=0.01
    )


def test_the_hardest_change_is_never_harder_with_minimax(data: Data) -> None:
    """And the sum is never less."""
    for chords in ("C | Am | F | G", "D | Bm | G | A", "Eb | Cm | Ab | Bb7"):
        plain, careful = data("shapes", chords), data("shapes", chords, "--minimax")
        assert careful["hardest"] <= plain["hardest"]
        assert careful["cost"] >= plain["cost"]


def test_a_pin_by_chord_or_by_number_is_kept(data: Data) -> None:
    """Every F by its symbol, the third chord by its number; the number comes first."""
    assert shapes(data("shapes", "F | C | F", "--pin", "F=133211"))[::2] == ["133211", "133211"]
    assert shapes(data("shapes", "F | C | F", "--pin", "F=133211,3=xx3211"))[::2] == ["133211", "xx3211"]


def test_a_pin_of_the_player_s_own_is_kept_too(data: Data) -> None:
    """x32013 is no C that a search would give first; the fingers come by rule."""
    said = data("shapes", "C | G", "--pin", "C=x32013")
    assert said["shapes"][0]["shape"] == "x32013"
    assert said["shapes"][0]["fingers"].strip(".")


def test_a_wanted_top_note_sounds_on_top(data: Data) -> None:
    """C with G4 on top, D with D5 on top: string 1 at fret 3 and 10."""
    said = data("shapes", "C | D", "--top", "C=G4,2=D5")
    highest = [max(s.midi(n) or 0 for n in s.sounding) for s in map(Shape.parse, shapes(said))]
    assert highest == [67, 74]


def test_no_chord_has_no_shape(data: Data) -> None:
    """N is six muted strings, as `coach show` writes it."""
    said = data("shapes", "C | N | G")
    assert (said["shapes"][1]["chord"], said["shapes"][1]["shape"]) == ("N", "xxxxxx")


def test_a_loop_has_one_change_more(data: Data) -> None:
    """From the last chord back to the first."""
    said = data("shapes", "C | G", "--loop")
    assert [(row["from"], row["to"]) for row in said["held"]] == [("C", "G"), ("G", "C")]


def test_the_key_tells_the_numerals(data: Data) -> None:
    """C in G is IV."""
    assert [row["numeral"] for row in data("shapes", "G | C | D", "--key", "G")["shapes"]] == ["I", "IV", "V"]


def test_a_thumb_over_the_neck_is_used_where_it_is_easier(data: Data) -> None:
    """D/F# 200232: without the thumb no hand holds it; --thumb does."""
    pin = ("--pin", "D/F#=200232")
    assert "T" in data("shapes", "G | D/F# | Em", "--thumb", *pin)["shapes"][1]["fingers"]
    assert "T" not in data("shapes", "G | D/F# | Em", *pin)["shapes"][1]["fingers"]


def test_the_settings_say_whose_hand_it_is(data: Data, coach_home: Path) -> None:
    """A player who wants no barre gets none."""
    coach_home.mkdir()
    (coach_home / "settings.toml").write_text('barres = "none"\n', "utf-8")
    for row in data("shapes", "F | Bm | G")["shapes"]:
        fingers = row["fingers"].replace(".", "")
        assert len(set(fingers)) == len(fingers)


def test_stand_ins_come_with_what_is_lost_and_gained(data: Data) -> None:
    """For F after C: all kinds named, each says something."""
    rows = data("shapes", "C | F", "--key", "C", "--pin", "F=133211", "--easier", "F")["easier"]
    assert {"smaller", "relative", "keep"} <= {row["kind"] for row in rows}
    assert all(row["lost"] or row["gained"] for row in rows)
    assert "Fmaj7" in [row["chord"] for row in rows]


def test_a_finger_that_stays_down_throughout_is_listed(run: Run, data: Data) -> None:
    """G C D Em: the third finger on string 2, fret 3, makes Cadd9 and Em7 of C and Em."""
    rows = data("shapes", "G | C | D | Em", "--hold")["hold"]
    (d_tone,) = [row for row in rows if (row["finger"], row["string"], row["fret"]) == ("3", 2, 3)]
    assert d_tone["note"] == "D"
    assert [row["shape"] for row in d_tone["shapes"]] == ["320033", "x32030", "xx0232", "022030"]
    code, out, _ = run("shapes", "G | C | D | Em", "--hold")
    assert code == 0
    assert "finger 3 keeps D on string 2 at fret 3; it makes Cadd9 of C, Em7 of Em." in out


def test_the_text_draws_the_shapes_and_says_what_stays_down(run: Run) -> None:
    """Diagrams side by side, a line for each change, nothing wider than 80 columns."""
    code, out, err = run("shapes", "C | Am | F | G | C | Em", "--key", "C", "--easier", "F")
    assert (code, err) == (0, "")
    assert "C to Am: finger 1 (string 2, fret 1) and finger 2 (string 4, fret 2) stay\n" in out
    assert "x02210" in out
    assert "The hardest change is" in out
    assert max(map(len, out.splitlines())) <= 80


def test_a_pin_that_is_used_nowhere_is_a_note(run: Run) -> None:
    """The route still comes."""
    code, out, err = run("shapes", "C | G", "--pin", "F=133211", "--json")
    assert code == 0
    assert out.startswith("{")
    assert "F stands in --pin but is not among the chords" in err


# keys -----------------------------------------------------------------------------------------


def test_without_a_voice_every_answer_sounds_in_the_key(data: Data) -> None:
    """E major at capo 0 to 7: eight pairs, the best first; C shapes are at capo 4."""
    rows = data("keys", "E | A | B7 | C#m", "--key", "E")
    assert {"shape_key", "capo", "sounding_key", "score", "chords", "voice_shift", "why"} <= set(rows[0])
    assert {row["sounding_key"] for row in rows} == {"E"}
    assert sorted(row["capo"] for row in rows) == list(range(8))
    assert [row["score"] for row in rows] == sorted((row["score"] for row in rows), reverse=True)
    (four,) = [row for row in rows if row["capo"] == 4]
    assert (four["shape_key"], four["chords"]) == ("C", ["C", "F", "G7", "Am"])
    assert all(row["voice_shift"] == 0 and row["why"] for row in rows)


def test_with_a_voice_the_sounding_key_moves(data: Data) -> None:
    """A tune from D4 to D5 for a voice from A2 to C4: the best key brings it there."""
    rows = data("keys", "G | Em | C | D", "--key", "G", "--melody", "D4-D5", "--voice", "A2-C4")
    assert len(rows) == 96
    low, high = 62 + rows[0]["voice_shift"], 74 + rows[0]["voice_shift"]
    assert low >= 45
    assert high <= 60


def test_a_capo_as_far_as_one_wants(data: Data) -> None:
    """--max-capo 2 leaves three places for a key that is fixed."""
    assert sorted(row["capo"] for row in data("keys", "E | A", "--key", "E", "--max-capo", "2")) == [0, 1, 2]


def test_the_text_ranks_and_gives_reasons(run: Run) -> None:
    """A table of the best five and a paragraph for each."""
    code, out, err = run("keys", "E | A | B7 | C#m | D | E", "--key", "E")
    assert (code, err) == (0, "")
    assert "It must sound in E major." in out
    assert "C major shapes with the capo on 4 sound in E major" in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80


# Mistakes -------------------------------------------------------------------------------------

MISTAKES = {
    "shapes": "CHORDS",
    "shapes H": "'H'",
    "shapes Cfoo": "C",
    "shapes N": "no chord",
    "shapes C G": "'G'",
    "shapes C --key H": "--key",
    "shapes C --pin C=x320100": "6",
    "shapes C --pin C=x3201(99)": "fret 24",
    "shapes C --pin C=": "--pin",
    "shapes C --pin x32010": "CHORD=x32010",
    "shapes C --pin 2=x32010": "1",
    "shapes C --pin 0=x32010": "1",
    "shapes C --pin H=x32010": "--pin",
    "shapes C --top C=H4": "--top",
    "shapes C --top C=F": "nearest",
    "shapes C --top C=E9": "nearest",
    "shapes C --easier G": "C",
    "shapes C --easier 7": "1",
    "shapes C --span -5": "--span",
    "shapes C --span 0": "--span",
    "shapes C --span 20": "40",
    "shapes C --span wide": "--span",
    "shapes C --barres half": "small",
    "shapes C --capo 99": "11",
    "shapes C --capo -1": "--capo",
    "shapes C --max-fret 99": "15",
    "shapes C --tuning dadgda": "dadgad",
    "shapes C --tuning E2,A2": "six",
    "shapes C --thum": "--thumb",
    "keys C": "--key",
    "keys C --key": "--key",
    "keys C --key H": "--key",
    "keys C --key Fb": "E",
    "keys N --key C": "no chord",
    "keys C | | G --key C": "",
    "keys C --key C --melody D4-A3 --voice A2-D4": "A3-D4",
    "keys C --key C --melody A3-D4": "voice",
    "keys C --key C --voice A3-D4": "melody",
    "keys C --key C --melody A3 --voice A2-D4": "A2-D4",
    "keys C --key C --melody H3-A4 --voice A2-D4": "--melody",
    "keys C --key C --max-capo 12": "11",
    "keys C --key C --max-capo -1": "11",
    "keys C --key C --limit 0": "1",
}


@pytest.mark.parametrize("line", MISTAKES)
def test_every_mistake_is_one_sentence_that_says_what_would_do(run: Run, line: str) -> None:
    """Exit code 2, nothing on stdout, one line that names what would be understood."""
    code, out, err = run(*line.split(" "))
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert err.rstrip().endswith((".", "?"))
    assert MISTAKES[line] in err
    assert not any(word in err for word in ("Traceback", "usage:", "Error("))


def test_a_hand_that_can_hold_nothing_is_told_so(run: Run) -> None:
    """A reach of 40 mm up to fret 1 without barres holds no F#m; the sentence says what would help."""
    code, out, err = run("shapes", "F#m", "--span", "40", "--max-fret", "1", "--barres", "none")
    assert (code, out) == (2, "")
    assert "F#m" in err
    assert "stretch" in err

"""Song files: read as they are meant, and every way they can be wrong told with its line."""

from __future__ import annotations

import os
import time
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach import shelf
from coach.errors import BadInput
from coach.files.toml_map import map_toml
from coach.song.chart import Song
from coach.song.files.check_song import check_song
from coach.song.files.song_file import LARGEST_FILE, check_text, parse_song, read_song, song_id
from coach.song.files.song_text import song_text
from tests.effort import examples
from tests.sentences import is_one_sentence
from tests.song.made_up import songs

PATTERNS = shelf.library().patterns
BROKEN = Path(__file__).parent / "broken"

GOOD = """\
title = "Ferry"
key = "G"
meter = "4/4"
tempo = 92
original = { key = "Bb", tempo = 100 }
voice = { low = "A2", high = "D4" }
order = ["Verse", "Chorus", "Verse"]

[parts.Verse]
bars = [
  { chords = "G", beats = 1, words = "the", tune = "D4" },
  { chords = "C D", words = "salt on|the win-|dow" },
  {},
]
[parts.Chorus]
meter = "3/4"
tempo = 80
bars = [ { chords = "Em", hold = true } ]

[shapes]
Em = "022000"

[arrangements.plain]
pattern = "outside-in"
capo = 2
[arrangements.plain.parts.Chorus]
pattern = "waltz-arpeggio"
stand_in = { F = "G:1@1" }
[[arrangements.plain.parts.Chorus.bars]]
bar = 1
p = "r . a . a ."
slots = 6
"""


def problems(text: str) -> list[str]:
    """What is wrong with a text, against the shipped patterns."""
    checked = check_song(text, "ferry", PATTERNS, shelf.shapes())
    return [str(p) for p in checked.problems]


@examples(30)
@given(songs())
def test_a_song_reads_back_as_written(song: Song) -> None:
    """Any song, written as a file and read again, is the same song."""
    assert parse_song(song_text(song), song.id) == song


def test_everything_in_a_file_is_read() -> None:
    """Field by field."""
    song = parse_song(GOOD, "ferry")
    assert (song.title, str(song.key), str(song.meter), song.tempo) == ("Ferry", "G", "4/4", 92)
    assert (str(song.original[0]), song.original[1]) == ("Bb", 100)
    assert song.voice is not None
    assert [str(p) for p in song.voice] == ["A2", "D4"]
    assert song.order == ("Verse", "Chorus", "Verse")
    pick_up, two, same = song.parts["Verse"].bars
    assert (pick_up.beats, [str(n.pitch) for n in pick_up.tune]) == (1, ["D4"])
    assert [(b, str(c)) for b, c in two.chords] == [(0, "C"), (2, "D")]
    assert (str(same.chords[0][1]), same.words) == ("D", ())
    chorus = song.parts["Chorus"]
    assert (str(chorus.meter), chorus.tempo, chorus.bars[0].way) == ("3/4", 80, "hold")
    plain = song.arrangements["plain"]
    assert (plain.way.pattern, plain.capo, plain.singing) == ("outside-in", 2, "thumb")
    assert plain.parts["Chorus"].stand_in == {"F": "G:1@1"}
    assert plain.parts["Chorus"].bars[0].lanes == (("p", "r . a . a ."),)
    assert problems(GOOD) == []


def test_what_is_left_out_has_a_sensible_meaning() -> None:
    """No order: the parts as they stand; no voice: the range of the tune; no arrangement: none."""
    song = parse_song(
        'title="x"\nkey="Am"\nmeter="6/8"\ntempo="50.5"\n'
        '[parts.B]\nbars=[{chords="Am",tune="A4 C5:1/3 E4:2/3"}]\n[parts.A]\nbars=[{chords="N"}]\n',
        "x",
    )
    assert song.order == ("B", "A")
    assert song.voice is not None
    assert [str(p) for p in song.voice] == ["E4", "C5"]
    assert (song.tempo, song.arrangements) == (Fraction(101, 2), {})


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ('title = "Ferry"\n', "", 1, "'title' is missing"),
        ('title = "Ferry"', "title = 3", 1, "'title' must be text"),
        ('title = "Ferry"', 'title = "a\\u001b[2J"', 1, "control character"),
        ('key = "G"', 'key = "H"', 2, "'H' is not a key"),
        ('meter = "4/4"', 'meter = "4/5"', 3, "'4/5' is not a meter"),
        ("tempo = 92", "tempo = 9200", 4, "out of range"),
        ("tempo = 92", "tempo = true", 4, "must be a number"),
        ("tempo = 92", f"tempo = 0x{'f' * 6000}", 4, "must be a number"),
        ("tempo = 92", "tempo = nan", 4, "is not a number"),
        ("tempo = 92", "tenpo = 92\ntempo = 92", 4, "did you mean 'tempo'?"),
        ('low = "A2"', 'low = "A9"', 6, "upside down"),
        ('low = "A2", ', "", 6, "a lowest and a highest"),
        ('"Chorus", "Verse"]', '"Corus", "Verse"]', 7, "did you mean Chorus?"),
        ('order = ["Verse", "Chorus", "Verse"]', "order = []", 7, "the order is empty"),
        ('order = ["Verse", "Chorus", "Verse"]', "order = [1]", 7, "must be a list of texts"),
        ('chords = "C D"', 'chords = "C H"', 12, "part Verse, bar 2: 'H' is not a chord"),
        ('chords = "C D"', 'chrods = "C D"', 12, "did you mean 'chords'?"),
        ('{ chords = "G", beats', "{ beats", 11, "the first bar of a part needs its chords"),
        ("beats = 1", "beats = 5", 11, "5 beats and a bar of 4/4 only 4"),
        ("beats = 1", "beats = 0", 11, "cannot be counted"),
        ("beats = 1", "beats = [1]", 11, "'beats' must be a number"),
        ('tune = "D4"', 'tune = "D4 D4"', 11, "the tune has more than the bar's 1"),
        ('words = "salt', 'tune = "+E4:4", words = "salt', 12, "does not end the bar before"),
        ("the win-|dow", "the|win-|dow|is|wet", 12, "words for 6 beats"),
        ("hold = true", "hold = true, silent = true", 18, "held and silent"),
        ("hold = true", "hold = 1", 18, "'hold' must be true or false"),
        ('bars = [ { chords = "Em", hold = true } ]', "bars = []", 18, "part Chorus has no bars"),
        ('bars = [ { chords = "Em", hold = true } ]', 'bars = ["Em"]', 18, "'bars' must be a list of bars"),
        ('Em = "022000"', 'Em = "02200"', 21, "5 strings, not 6"),
        ('Em = "022000"', 'Em = "123456"', 21, "takes more than four fingers"),
        ('Em = "022000"', 'H = "022000"', 21, "'H' is not a chord"),
        ('pattern = "outside-in"', 'pattern = "outside-inn"', 24, "did you mean outside-in?"),
        ('pattern = "outside-in"', "", 23, "arrangement plain has no pattern"),
        ('pattern = "outside-in"', 'pattern = ""', 24, "the pattern has no name"),
        ("capo = 2", "capo = 12", 25, "capo = 12 cannot be"),
        ("capo = 2", 'key = "Em"', 25, "the song is in G major"),
        ("capo = 2", "shift = 3", 25, "shift = -12 or 0 fits"),
        ("capo = 2", 'singing = "toes"', 25, "'toes' is not a layer"),
        ("capo = 2", 'early = "yes"', 25, "'early' must be true or false"),
        ("capo = 2", 'by_chord = "x"', 25, "'by_chord' must be a table"),
        ("parts.Chorus]\npattern", "parts.Corus]\npattern", 26, "the song has no part Corus; did you mean Chorus?"),
        ('pattern = "outside-in"', 'pattern = "waltz-thumb"', 23, "part Verse, bar 1: it is in 4/4"),
        ('"G:1@1"', '"G:7@1"', 28, "'G:7@1' is not a stand-in"),
        ('"G:1@1"', '"G:1@25"', 28, "'G:1@25' goes past the end of the neck; use frets 0 to 24"),
        ('"G:1@1"', '"G:1@23"', 28, "with the capo at 2 goes past the end of the neck; use frets 0 to 22"),
        ('Em = "022000"', 'Em = "0(25)(25)000"', 21, "goes past fret 24"),
        ("capo = 2", 'capo = 2\nshapes = { Em = "0(23)(23)000" }', 26, "with the capo at 2 goes past the end"),
        ("bar = 1", 'bar = 1\nm = ". 2@99 . . . ."', 29, "'2@99' in slot 2, past the end of the neck"),
        ("bar = 1", 'bar = 1\nm = ". 2@23 . . . ."', 29, "a lane with the capo at 2 goes past the end"),
        ("bar = 1", "bar = 2", 30, "bar = 2 cannot be; give a whole number from 1 to 1"),
        ("bar = 1\n", "", 29, "does not say which bar"),
        ("slots = 6", "slots = 5", 29, "lane p has 6 tokens, not 5"),
        ("slots = 6", "", 29, "needs its slots"),
        ("[arrangements.plain]", "[arrangements.plain", 23, "this is not TOML"),
    ],
)  # fmt: skip
def test_every_problem_has_its_line(old: str, new: str, line: int, says: str) -> None:
    """The sentence names the line and what to do."""
    assert old in GOOD
    found = problems(GOOD.replace(old, new, 1))
    assert any(p.startswith(f"line {line}") and says in p for p in found), found


def test_every_problem_is_told_not_only_the_first() -> None:
    """Three slips, three lines; the error on reading says how many more there are."""
    text = GOOD.replace('"C D"', '"H"').replace("tempo = 80", "tempo = 8").replace("capo = 2", "capo = -1")
    assert [p.split(",")[0].split(":")[0] for p in problems(text)] == ["line 12", "line 17", "line 25"]
    with pytest.raises(BadInput, match="2 more problems") as caught:
        parse_song(text, "ferry")
    assert is_one_sentence(caught.value)


def test_unknown_keys_are_left_alone_and_told() -> None:
    """A key that resembles none of ours is the player's own affair."""
    checked = check_text(GOOD.replace("capo = 2", 'learned_from = "Grandmother"'), "ferry")
    assert checked.problems == ()
    assert ["learned_from" in note.what for note in checked.notes] == [True]


@pytest.mark.parametrize("path", sorted(BROKEN.glob("*")), ids=lambda p: p.name)
def test_broken_files_are_refused_in_one_sentence(path: Path) -> None:
    """Each file of the corpus: never a traceback, always a place."""
    with pytest.raises(BadInput) as caught:
        read_song(path)
    assert is_one_sentence(caught.value)
    assert path.name in str(caught.value)


def test_what_is_no_song_file_is_told(tmp_path: Path) -> None:
    """A folder, nothing at all, a pipe, something far too large."""
    os.mkfifo(tmp_path / "pipe.song.toml")
    (tmp_path / "large.song.toml").write_bytes(b"#" * (LARGEST_FILE + 1))
    for path in (tmp_path, tmp_path / "none.song.toml", tmp_path / "pipe.song.toml", tmp_path / "large.song.toml"):
        with pytest.raises(BadInput) as caught:
            read_song(path)
        assert is_one_sentence(caught.value)


def test_the_id_is_the_file_s_name() -> None:
    """Without `.song.toml`."""
    assert [song_id(Path(p)) for p in ("a/ferry.song.toml", "x.y.song.toml", "ferry.toml")] == ["ferry", "x.y", "ferry"]


@examples(60)
@given(song=songs(), data=st.data())
def test_a_spoilt_file_never_ends_in_a_traceback(song: Song, data: st.DataObject) -> None:
    """Any letters cut out, doubled or put in: a song or problems with lines inside the file."""
    text = spoilt(song_text(song), data)
    checked = check_text(text, "x", patterns=PATTERNS)
    assert (checked.song is None) == bool(checked.problems)
    for problem in checked.problems:
        assert 1 <= problem.line <= text.count("\n") + 1
        assert is_one_sentence(problem.error())


VALUES = ["1", "-1", '"x"', "[]", "{}", "true", "1e9", "nan", "[[1]]", "1979-05-27", "0x1F"]


def spoilt(text: str, data: st.DataObject) -> str:
    """The text with a few places changed, most of them so that it stays TOML."""
    for _ in range(data.draw(st.integers(1, 3))):
        lines = text.splitlines(keepends=True)
        at = data.draw(st.integers(0, max(len(lines) - 1, 0)))
        kind = data.draw(st.sampled_from(["cut", "double", "letters", "value", "key"]))
        line = lines[at] if lines else ""
        if kind == "cut":
            lines[at : at + 1] = []
        elif kind == "double":
            lines[at : at + 1] = [line, line]
        elif kind == "letters":
            k = data.draw(st.integers(0, len(line)))
            lines[at : at + 1] = [line[:k] + data.draw(st.text(max_size=3)) + line[k:]]
        elif "=" in line:
            key, _, value = line.partition("=")
            new = data.draw(st.sampled_from(VALUES))
            lines[at : at + 1] = [f"{key}= {new}\n" if kind == "value" else f"{key.strip()}x ={value}"]
        text = "".join(lines)
    return text


@examples(25)
@given(songs())
def test_the_map_finds_every_value(song: Song) -> None:
    """What stands at the place of a value, read by itself, is that value."""
    import tomllib

    text = song_text(song)
    data, places = tomllib.loads(text), map_toml(text).places
    for path, place in places.items():
        value = data
        for step in path:
            value = value[step]  # type: ignore[index]
        if place.kind in ("plain", "inline"):
            assert tomllib.loads(f"x = {text[place.value : place.end]}")["x"] == value


def test_a_hostile_file_ends_quickly() -> None:
    """Brackets without end, a hundred thousand bars, a million letters in one word: told, and at once."""
    head = 'title="x"\nkey="G"\nmeter="4/4"\ntempo=90\n[parts.A]\nbars=['
    began = time.perf_counter()
    for text in (head + "[" * 5000, head + '{chords="G"},' * 20_000 + "]", head + '{chords="' + "G " * 100_000 + '"}]'):
        assert problems(text)
    # Generous: only a time that grows with the square of the size would come near.
    assert time.perf_counter() - began < 60


def test_an_order_whose_part_is_unreadable_tells_that_part_alone() -> None:
    """A part with a name of 60 letters is one problem, not two; a broken order calls no part unused."""
    long = "V" * 60
    checked = check_text(GOOD.replace("[parts.Verse", f"[parts.{long}").replace('"Verse"', f'"{long}"'), "x")
    assert [p.what for p in checked.problems if "order" in p.what] == []
    assert [p.what for p in checked.problems if "short name" in p.what]
    lines = GOOD.splitlines()
    no_list = "\n".join("order = 7" if line.startswith("order") else line for line in lines)
    assert [note.what for note in check_text(no_list, "x").notes if "never played" in note.what] == []


def test_what_a_file_holds_does_not_flood_or_steer_the_terminal() -> None:
    """A key of 3000 letters is told shortened, an escape sequence in a name of the order is not sent on."""
    for text in (GOOD.replace('key = "G"', f'key = "{"A" * 3000}"'), GOOD.replace('"Verse"', '"\\u001b[2J"', 1)):
        said = problems(text)
        assert said
        assert all(len(one) < 300 and one.isprintable() for one in said)

"""Changing song files: what was asked is changed, and no line of the player's is lost."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadInput, CoachError
from coach.files.toml_edit import Edit
from coach.guitar.shape import Shape
from coach.song.arrangement import Arrangement, BarWay, PartWay
from coach.song.chart import Song
from coach.song.files import edit_song
from coach.song.files.song_file import parse_song
from coach.song.files.song_shelf import read_songs, write_song
from coach.song.files.song_text import song_text
from tests.effort import examples
from tests.sentences import is_one_sentence
from tests.song.made_up import songs

TEXT = """\
# learned on the ferry
title = "Ferry"   # working title
key = "G"
meter = "4/4"
tempo = 92
order = [
  "Verse",  # slowly
  "Chorus",
]
learned_from = "Grandmother"

[parts.Verse]   # the old one
bars = [
  { chords = "G", words = "salt on" },  # breathe first
  # here it opens up
  { chords = "C D" },
  { chords = "G" }
]

[[parts.Chorus.bars]]
chords = "C"   # major!
[[parts.Chorus.bars]]
chords = "G"
words = "home"

[arrangements.plain]
pattern = "outside-in"
[arrangements.plain.parts.Verse]
bars = [{ bar = 2, pattern = "half-bar-plain" }, { bar = 3, pattern = "inside-out" }]
"""


def comments(text: str) -> Counter[str]:
    """Every comment of a text, its own blanks left out."""
    return Counter(m.group().strip() for m in re.finditer(r"(?m)(?:^|(?<=\s))#[^\n\"]*$", text))


def song(text: str) -> Song:
    """The song in a text."""
    return parse_song(text, "ferry")


def test_a_bar_is_changed_and_nothing_else() -> None:
    """One line differs, and only behind the key that was set."""
    after = edit_song.set_bar(TEXT, "Verse", 1, chords="C Cm D", words="o-|ver")
    changed = [(a, b) for a, b in zip(TEXT.splitlines(), after.splitlines(), strict=True) if a != b]
    assert changed == [('  { chords = "C D" },', '  { chords = "C Cm D", words = "o-|ver" },')]
    assert edit_song.set_bar(after, "Verse", 1, chords="C D", words="") == TEXT


def test_a_bar_written_as_a_table_is_changed_in_its_own_way() -> None:
    """`[[parts.Chorus.bars]]` gets a line more; its comment stays."""
    after = edit_song.set_bar(TEXT, "Chorus", 0, words="last boat", hold=True)
    assert 'chords = "C"   # major!\nwords = "last boat"\nhold = true\n[[parts.Chorus.bars]]' in after
    assert edit_song.set_bar(after, "Chorus", 0, words=None, hold=False) == TEXT


def test_a_bar_put_in_and_taken_out_leaves_the_file_as_it_was() -> None:
    """At the start, in the middle, at the end, in both ways of writing."""
    for part, index in (("Verse", 0), ("Verse", 1), ("Verse", 3), ("Chorus", 1)):
        after = edit_song.insert_bar(TEXT, part, index, chords="Am")
        bars = song(after).parts[part].bars
        assert str(bars[index].chords[0][1]) == "Am"
        assert comments(after) == comments(TEXT)
        assert song(edit_song.delete_bar(after, part, index)) == song(TEXT)


def test_what_is_said_of_bars_moves_with_them() -> None:
    """A bar before the second one: what was said of bars 2 and 3 is now said of 3 and 4; taken out, it goes."""
    ways = song(edit_song.insert_bar(TEXT, "Verse", 1, chords="Am")).arrangements["plain"].parts["Verse"].bars
    assert {bar: way.pattern for bar, way in ways.items()} == {2: "half-bar-plain", 3: "inside-out"}
    ways = song(edit_song.delete_bar(TEXT, "Verse", 1)).arrangements["plain"].parts["Verse"].bars
    assert {bar: way.pattern for bar, way in ways.items()} == {1: "inside-out"}


def test_a_bar_that_went_on_with_the_chord_before_keeps_it() -> None:
    """Taking out the bar that named the chord writes it where it was meant."""
    text = TEXT.replace('  { chords = "G" }\n', "  {}\n")
    assert [str(c) for _, c in song(edit_song.delete_bar(text, "Verse", 1)).parts["Verse"].bars[1].chords] == ["D"]


def test_parts_come_are_renamed_and_go() -> None:
    """The order and the arrangements follow; comments stay even where the list they stood in is written anew."""
    more = edit_song.add_part(TEXT, "Bridge", [{"chords": "Am", "words": "over"}, {"chords": "D"}])
    assert song(more).order == ("Verse", "Chorus", "Bridge")
    renamed = edit_song.rename_part(more, "Verse", "First verse")
    assert song(renamed).order == ("First verse", "Chorus", "Bridge")
    assert list(song(renamed).arrangements["plain"].parts) == ["First verse"]
    gone = edit_song.delete_part(renamed, "First verse")
    assert list(song(gone).parts) == ["Chorus", "Bridge"]
    for text in (more, renamed, gone):
        assert comments(text) == comments(TEXT)
        assert 'learned_from = "Grandmother"' in text


def test_an_arrangement_is_added_and_changed() -> None:
    """It reads back as given; the rest of the file stays."""
    full = Arrangement(
        "full",
        PartWay("inside-out", by_chord={"C": "outside-in"}, shapes={"G": Shape.parse("320033")}),
        {"Verse": PartWay(stand_in={"C": "Am7"}, bars={0: BarWay("thumb-on-the-beat", why="to begin with")})},
        capo=2,
        early=True,
        why=("because",),
    )
    after = edit_song.set_arrangement(TEXT, full)
    assert after.startswith(TEXT)
    assert song(after).arrangements["full"] == full
    plain = Arrangement("plain", full.way, full.parts, capo=3)
    changed = edit_song.set_arrangement(after, plain)
    assert song(changed).arrangements == {"plain": plain, "full": full}
    assert comments(changed) == comments(TEXT)


def test_a_key_the_coach_does_not_know_stays_in_a_changed_arrangement() -> None:
    """The player's own note survives a new proposal."""
    text = TEXT.replace('pattern = "outside-in"', 'pattern = "outside-in"\nmood = "calm"  # mine')
    after = edit_song.set_arrangement(text, Arrangement("plain", PartWay("inside-out")))
    assert 'mood = "calm"  # mine' in after


def overridden(text: str, name: str, part: str, bar: int, way: BarWay | None) -> str:
    """The text with one bar of an arrangement played that way; None for as the rest of its part."""
    arrangement = song(text).arrangements[name]
    own = arrangement.parts.get(part, PartWay())
    bars = {number: one for number, one in own.bars.items() if number != bar}
    own = replace(own, bars=bars | ({} if way is None else {bar: way}))
    return edit_song.set_arrangement(text, replace(arrangement, parts={**arrangement.parts, part: own}))


def test_one_bar_is_played_another_way_and_back() -> None:
    """Bar by bar, in place of what was said or beside it."""
    way = BarWay(lanes=(("p", "r . r ."), ("i", ". 3 . 3")), slots=4, why="mine")
    after = overridden(TEXT, "plain", "Verse", 0, way)
    assert song(after).arrangements["plain"].parts["Verse"].bars[0] == way
    said = TEXT.replace('pattern = "outside-in"\n', 'pattern = "outside-in"\nsinging = "thumb"\n')
    assert overridden(after, "plain", "Verse", 0, None) == said
    first = overridden(TEXT, "plain", "Chorus", 1, BarWay("inside-out"))
    assert song(first).arrangements["plain"].parts["Chorus"].bars == {1: BarWay("inside-out")}
    assert comments(first) == comments(TEXT)


def test_head_part_and_order_are_set() -> None:
    """Title, tempo of a part, order."""
    text = edit_song.set_head(TEXT, title='The "slow" ferry', voice={"low": "A2", "high": "D4"})
    text = edit_song.set_part(text, "Verse", meter="4/4", tempo=80)
    text = edit_song.set_order(text, ["Chorus", "Verse", "Chorus"])
    read = song(text)
    assert (read.title, read.parts["Verse"].tempo) == ('The "slow" ferry', 80)
    assert read.order == ("Chorus", "Verse", "Chorus")
    assert comments(text) == comments(TEXT)


@pytest.mark.parametrize(
    "change",
    [
        lambda: edit_song.set_bar(TEXT, "Verse", 1, chords="H"),
        lambda: edit_song.set_bar(TEXT, "Verse", 1, words="a|b|c|d|e"),
        lambda: edit_song.set_bar(TEXT, "Verse", 9, chords="C"),
        lambda: edit_song.set_bar(TEXT, "Vesre", 0, chords="C"),
        lambda: edit_song.set_bar(TEXT, "Verse", 0, cords="C"),
        lambda: edit_song.add_part(TEXT, "Verse"),
        lambda: edit_song.rename_part(TEXT, "Verse", "Chorus"),
        lambda: edit_song.set_order(TEXT, ["Bridge"]),
        lambda: edit_song.set_head(TEXT, key=None),
        lambda: edit_song.set_arrangement(
            TEXT, Arrangement("x", PartWay("x"), {"Verse": PartWay(bars={7: BarWay("x")})})
        ),
        lambda: edit_song.set_order("x = [", ["A"]),
        lambda: edit_song.new_song_text("x", "H"),
        lambda: edit_song.new_song_text("x", "G", "7/4"),
    ],
)
def test_a_change_that_would_spoil_the_song_is_refused(change: object) -> None:
    """One sentence, and the text that there was stays."""
    with pytest.raises(BadInput) as caught:
        change()  # type: ignore[operator]
    assert is_one_sentence(caught.value)


def test_a_new_song_can_be_read_at_once() -> None:
    """Four bars of its tonic, and an arrangement when a pattern is given."""
    read = song(edit_song.new_song_text("New", "F# minor", "3/4", pattern="waltz-thumb"))
    assert [str(b.chords[0][1]) for b in read.parts["Verse"].bars] == ["F#m"] * 4
    assert read.arrangements["plain"].way.pattern == "waltz-thumb"


@examples(30)
@given(song=songs(), data=st.data())
def test_any_change_keeps_every_comment_and_says_what_was_meant(song: Song, data: st.DataObject) -> None:
    """A file with a comment on every line it may have one: after a few changes they are all there."""
    text = commented(song_text(song))
    assert parse_song(text, song.id) == song
    for _ in range(data.draw(st.integers(1, 3))):
        before, now = text, parse_song(text, song.id)
        part = data.draw(st.sampled_from(sorted(now.parts)))
        index = data.draw(st.integers(0, len(now.parts[part].bars) - 1))
        kind = data.draw(st.sampled_from(["bar", "insert", "delete", "rename", "order", "arrange", "override", "drop"]))
        try:
            if kind == "bar":
                text = edit_song.set_bar(text, part, index, chords="C", words=None, tune=None)
                assert str(parse_song(text, song.id).parts[part].bars[index].chords[0][1]) == "C"
            elif kind == "insert":
                text = edit_song.insert_bar(text, part, index, chords="Am", words="new")
                assert len(parse_song(text, song.id).parts[part].bars) == len(now.parts[part].bars) + 1
            elif kind == "delete":
                text = edit_song.delete_bar(text, part, index)
                assert len(parse_song(text, song.id).parts[part].bars) == len(now.parts[part].bars) - 1
            elif kind == "rename":
                text = edit_song.rename_part(text, part, "New name")
                assert "New name" in parse_song(text, song.id).parts
            elif kind == "order":
                text = edit_song.set_order(text, [part, part])
                assert parse_song(text, song.id).order == (part, part)
            elif kind == "arrange":
                arrangement = now.arrangements[data.draw(st.sampled_from(sorted(now.arrangements)))]
                renamed = Arrangement("my own", PartWay("outside-in"), arrangement.parts, capo=1, why=("new",))
                text = edit_song.set_arrangement(text, renamed)
                assert parse_song(text, song.id).arrangements["my own"] == renamed
            elif kind == "override" and "my own" in now.arrangements:
                text = overridden(text, "my own", part, index, BarWay("outside-in"))
                assert parse_song(text, song.id).arrangements["my own"].parts[part].bars[index] == BarWay("outside-in")
            elif kind == "drop":
                text = edit_song.delete_part(text, part)
                assert part not in parse_song(text, song.id).parts
        except BadInput:
            assert text == before  # a tie that would lose its note, the last bar or part: refused, nothing changed
        assert not comments(before) - comments(text)


def commented(text: str) -> str:
    """A comment above and behind every line that may have one."""
    lines = []
    for number, line in enumerate(text.splitlines()):
        lines += [f"  # above {number}", f"{line} # behind {number}"]
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize(
    ("text", "path", "value"),
    [
        ("a.b = 1\n", ("a", "c"), 2),
        ("a = { b = 1 }\n", ("a", "c"), 2),
        ("a = {}\n", ("a", "c"), {"d": [1]}),
        ("x = 1", ("a", "b", "c"), 2),
        ("[a.b]\nc = 1\n", ("a", "d"), 2),
        ("[[a]]\nb = 1\n[[a]]\n", ("a", 1, "c"), "x"),
        ("[[a]]\n[a.b]\nc = 1\n", ("a", 0, "b", "d"), 2),
        ('"quo\\"ted" = 1\n', ('quo"ted',), 2),
        ("a = '''\nlong\n'''\nb = \"\"\"x\"\"\"\n", ("b",), "y"),
        ("a = [ # one\n 1, # two\n]\n", ("a",), [2]),
        ("a = 1979-05-27 07:32:00 # when\n", ("a",), 2),
        ("a.b = 1\r\n[c]\r\nd = 2\r\n", ("c", "e"), 3),
        ("a = [nan, { b = -nan }] # what is no number is not equal to itself\n", ("c",), 3),
        ("# one\n\n# two\n[b]\n", ("a",), 3),
    ],
)
def test_toml_of_every_make_is_changed_in_place(text: str, path: tuple[str | int, ...], value: object) -> None:
    """Dotted keys, braces, headers, lists of tables, long texts, dates, CR LF (TOML 1.0.0): set and read back."""
    change = Edit(text)
    change.put(path, value)
    after = change.done()
    here: object = tomllib.loads(after)
    for step in path:
        here = here[step]  # type: ignore[index]
    assert here == value
    assert comments(after) == comments(text)
    assert ("\r\n" in text) == ("\r\n" in after)


def test_a_file_that_changed_meanwhile_is_not_overwritten(tmp_path: Path) -> None:
    """What another program wrote stays; a new song never takes a file's place."""
    path = tmp_path / "songs" / "ferry.song.toml"
    write_song(path, TEXT)
    with pytest.raises(CoachError, match="exists already"):
        write_song(path, "")
    after = edit_song.set_head(TEXT, tempo=80)
    write_song(path, after, before=TEXT)
    with pytest.raises(CoachError, match="changed meanwhile"):
        write_song(path, TEXT, before=TEXT)
    assert path.read_text("utf-8") == after
    assert [p.name for p in path.parent.iterdir()] == ["ferry.song.toml"]


def test_the_shelf_lists_what_it_cannot_read(tmp_path: Path) -> None:
    """A broken file beside a good one: the good one is there, the broken one tells why, near names are hinted."""
    write_song(tmp_path / "ferry.song.toml", TEXT)
    (tmp_path / "bad.song.toml").write_text("title = ", "utf-8")
    shelf = read_songs(tmp_path / "none", tmp_path)
    assert list(shelf.songs) == ["ferry"]
    assert shelf.songs["ferry"].own
    assert [b.path.name for b in shelf.broken] == ["bad.song.toml"]
    for name, says in (("bad", "this is not TOML"), ("fery", "did you mean ferry"), ("x/y.song.toml", "cannot be")):
        with pytest.raises(BadInput, match=says):
            shelf.find(name)

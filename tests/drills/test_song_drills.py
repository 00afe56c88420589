"""Drills that songs give: ids, order, tempos, chords, corners, what counts as sung, what enters the plan and when."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from coach import places
from coach.drills.drill_id import DrillId, Kind, Voice
from coach.drills.pattern_drills import Drill
from coach.drills.repertoire import is_taken_up, make_pattern_drills, merge_songs, settle_drills
from coach.drills.song_choices import Settled
from coach.drills.song_drill_cache import SongDrillCache
from coach.drills.song_drills import (
    find_song_drill,
    make_song_corner,
    make_song_drills,
)
from coach.drills.sung_drills import find_counted_layer
from coach.errors import BadInput
from coach.guitar.open_shapes import read_shape_book
from coach.log.takes import Take
from coach.picking.pattern_library import read_library
from coach.plan.song_steps import SONG_AT_ONCE, find_next_steps
from coach.skill.history import past_of
from coach.skill.steady_tempo import steady
from coach.song.files.song_file import parse_song
from coach.song.files.song_shelf import SongShelf
from tests.made_takes import TODAY, take

LIBRARY = read_library(places.shipped("patterns"), places.shipped("patterns") / "none")
BOOK = read_shape_book(places.shipped("shared") / "shapes.toml")

LANDING = parse_song(
    """
title = "Landing stage"
key = "G"
meter = "4/4"
tempo = 100
order = ["Verse", "Chorus", "Verse"]
[parts.Verse]
bars = [
  { chords = "G", words = "rope|and|lamp" }, { chords = "C", words = "row" },
  { chords = "D", words = "home" }, { chords = "G" },
]
[parts.Chorus]
tempo = 80
bars = [ { chords = "Em" }, { chords = "F" } ]
[arrangements.plain]
pattern = "outside-in"
[arrangements.plain.parts.Chorus]
pattern = "inside-out"
[arrangements.full]
pattern = "inside-out-sixteenths"
capo = 2
key = "F"
tempo = 90
""",
    "landing",
)
DRILLS = make_song_drills(LANDING, LIBRARY.patterns, BOOK)
BY_ID = {drill.id: drill for drill in DRILLS}


def test_everything_an_arrangement_gives() -> None:
    """Patterns on the song's chords, changes, parts, words spoken, sung, sung over all, the whole song: once each."""
    plain = [d.id.removeprefix("landing/plain") for d in DRILLS if d.id.startswith("landing/plain")]
    assert sorted(plain) == sorted([
        "", "/sing", "/sing-full", "/part/Verse", "/part/Chorus", "/spoken/Verse", "/part/Verse/sing",
        "/part/Verse/sing-full", "/pattern/outside-in", "/pattern/inside-out", "/change/G-C", "/change/C-D",
        "/change/D-G", "/change/G-Em", "/change/Em-F", "/change/F-G",
    ])  # fmt: skip


def test_each_comes_after_what_it_grows_from() -> None:
    """Pattern, change, part, spoken, sung, whole song, and only then the fuller arrangement."""
    place = {drill.id: number for number, drill in enumerate(DRILLS)}
    assert all(d.grows_from is None or place[d.grows_from] < place[d.id] for d in DRILLS)
    chain, at = [], "landing/plain/sing"
    while at:
        chain.append(at.removeprefix("landing/plain"))
        at = BY_ID[at].grows_from or ""
    assert chain[:3] == ["/sing", "", "/part/Chorus"]
    assert chain[-1] == "/pattern/outside-in"
    verse = BY_ID["landing/plain/part/Verse/sing"]
    assert verse.grows_from == "landing/plain/spoken/Verse"
    assert BY_ID[verse.grows_from].grows_from == "landing/plain/part/Verse"
    first_full = next(d for d in DRILLS if d.id.startswith("landing/full/"))
    assert first_full.grows_from == "landing/plain"


def test_a_part_grows_from_its_hardest_change() -> None:
    """Em to F: the whole barre is to be set. It comes before the chorus, and asks more than G to C."""
    assert BY_ID["landing/plain/part/Chorus"].grows_from == "landing/plain/change/Em-F"
    assert BY_ID["landing/plain/change/Em-F"].difficulty > BY_ID["landing/plain/change/G-Em"].difficulty


def test_tempos_are_the_song_s_and_the_arrangement_s() -> None:
    """Verse at 100, chorus at 80; in the arrangement at 90 both are a tenth slower; all begin at 7/10 of that."""
    found = {id_: (BY_ID[id_].target_bpm, BY_ID[id_].start_bpm) for id_ in BY_ID}
    assert found["landing/plain/part/Verse"] == (100, 70)
    assert found["landing/plain/part/Chorus"] == (80, 56)
    assert found["landing/full/part/Verse"] == (90, 63)
    assert found["landing/full/part/Chorus"] == (72, 50)


def test_chords_are_those_the_hand_plays() -> None:
    """In G as charted; the other arrangement plays F shapes: G C D become F Bb C."""
    assert BY_ID["landing/plain/part/Verse"].chords == "G | C | D | G"
    assert BY_ID["landing/full/part/Verse"].chords == "F | Bb | C | F"
    assert BY_ID["landing/plain/pattern/inside-out"].chords == "Em | F"
    assert BY_ID["landing/plain/change/Em-F"].chords == "Em | F"


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("ferry/plain", DrillId("ferry", "plain")),
        ("ferry/plain/sing-full", DrillId("ferry", "plain", voice=Voice.SING_FULL)),
        ("ferry/plain/part/Second verse/sing", DrillId("ferry", "plain", Kind.PART, "Second verse", voice=Voice.SING)),
        ("ferry/plain/part/sing", DrillId("ferry", "plain", Kind.PART, "sing")),
        ("ferry/plain/change/D/F#-G", DrillId("ferry", "plain", Kind.CHANGE, "D/F#-G")),
        ("ferry/plain/pattern/outside-in", DrillId("ferry", "plain", Kind.PATTERN, "outside-in")),
        ("ferry/plain/spoken/Verse", DrillId("ferry", "plain", Kind.SPOKEN, "Verse")),
        ("ferry/plain/corner/Verse/5", DrillId("ferry", "plain", Kind.CORNER, "Verse", 5)),
        ("ferry/plain/corner/12", DrillId("ferry", "plain", Kind.CORNER, "", 12)),
    ],
)
def test_an_id_says_what_it_is(text: str, asked: DrillId) -> None:
    """Read and written back the same."""
    assert DrillId.parse(text) == asked
    assert str(asked) == text


@pytest.mark.parametrize(
    "text", ["outside-in", "a/", "a/b/", "a/b/verse", "a/b/part", "a/b/corner/x", "a/b/change/C-F/sing"]
)
def test_what_is_no_song_s_id(text: str) -> None:
    """Patterns, and what is not of the scheme."""
    assert not DrillId.parse(text).names_song_drill


def test_what_is_not_there_names_the_nearest() -> None:
    """A change, a part and a pattern that the song has not."""
    songs = SongShelf({"landing": LANDING})
    for id_, told in (
        ("landing/plain/change/G-Cm", "did you mean G-C?"),
        ("landing/plain/part/Vers", "did you mean Verse?"),
        ("landing/plain/pattern/outside-inn", "did you mean outside-in?"),
        ("landing/plain/corner/Verse/9", "no bar 9 Verse"),
    ):
        asked = DrillId.parse(id_)
        with pytest.raises(BadInput, match=told.replace("?", r"\?")):
            find_song_drill(asked, songs, LIBRARY.patterns)


def test_every_drill_is_found_again_by_its_id() -> None:
    """The same kind, title, tempo and chords as in the list."""
    songs = SongShelf({"landing": LANDING})
    for drill in DRILLS:
        asked = DrillId.parse(drill.id)
        found = find_song_drill(asked, songs, LIBRARY.patterns)
        assert replace(found, grows_from=drill.grows_from, difficulty=drill.difficulty) == drill


def test_a_corner_has_the_bar_before_and_after() -> None:
    """Bar 2 of the verse: bars 1 to 3. At its beginning there is none before."""
    verse, whole = BY_ID["landing/plain/part/Verse"], BY_ID["landing/plain"]
    assert make_song_corner(verse, 1).id == "landing/plain/corner/Verse/2"
    assert make_song_corner(verse, 1).chords == "G | C | D"
    assert make_song_corner(verse, 0).chords == "G | C"
    assert make_song_corner(whole, 4).chords == "G | Em | F"


# What counts as sung ------------------------------------------------------------------------


def sung(drill: str, layer: str, days_ago: int, mode: str = "sing", **more: int) -> Take:
    """A take under the voice."""
    return replace(take(drill, days_ago, layer=layer, **more), mode=mode)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("drill", "mode", "layer", "whole"),
    [
        ("ferry/plain/part/Verse/sing", "sing", "thumb", True),
        ("ferry/plain/spoken/Verse", "sing", "thumb", True),
        ("ferry/plain/part/Verse/sing", "sing", "pinches", True),
        ("ferry/plain/part/Verse/sing", "play", "full", False),
        ("ferry/plain/part/Verse/sing-full", "sing", "full", True),
        ("ferry/plain/part/Verse/sing-full", "sing", "thumb", False),
        ("ferry/plain/part/Verse", "play", "full", True),
        ("ferry/plain/part/Verse", "sing", "thumb", False),
        ("ferry/plain/part/sing", "sing", "thumb", False),
    ],
)
def test_a_sung_drill_is_whole_when_it_is_sung(drill: str, mode: str, layer: str, whole: bool) -> None:
    """Held on that day, with a tempo of its own; another way of playing it does not hold it."""
    takes = [sung(drill, layer, days_ago, mode) for days_ago in (3, 2, 1)]
    past = past_of(takes)
    assert past is not None
    assert (past.held_day is not None) == whole
    assert (past.full.bpm == 80) == whole


def test_a_sung_drill_comes_to_have_a_steady_tempo() -> None:
    """Clean at 60, lost at 80, under the voice: known, and between the two. Played without it: not known."""
    id_ = "ferry/plain/part/Verse/sing"
    takes = [sung(id_, "thumb", d, tempo=60, number=d) for d in range(4)]
    takes += [sung(id_, "thumb", d, tempo=80, clean=0, stumbled=8, minute=9, number=d) for d in range(4)]
    found = steady(takes)
    assert found is not None
    assert 60 < found.bpm < 80
    assert steady([replace(t, mode="play") for t in takes]) is None
    assert not DrillId.parse("ferry/plain/part/sing").has_voice
    assert find_counted_layer("outside-in", "sing", "thumb") == ("sing", "thumb")


# What enters the plan -----------------------------------------------------------------------


def test_only_songs_taken_up_are_practised() -> None:
    """One's own, one taken up, one that something of was played; a shipped one is only offered."""
    assert is_taken_up("ferry", True, None, ())
    assert is_taken_up("ferry", False, Settled(taken=True), ())
    assert is_taken_up("ferry", False, None, ("ferry/plain/part/Verse",))
    assert not is_taken_up("ferry", False, None, ("ferryman/plain", "outside-in"))
    assert not is_taken_up("ferry", False, Settled(due=None, resting=True), ())


def test_songs_come_after_the_first_ladder_with_patterns_between() -> None:
    """Four of the first ladder, then two of songs for each pattern; each in its own order; nothing lost."""
    patterns = make_pattern_drills(LIBRARY)
    made = merge_songs(patterns, {"landing": DRILLS})
    first = [d for d in patterns if d.family == patterns[0].family][:4]
    assert list(made[:4]) == first
    assert [("/" in d.id) for d in made[4:10]] == [True, True, False, True, True, False]
    assert [d for d in made if "/" in d.id] == list(DRILLS)
    rest = [d for d in patterns if d not in first]
    assert [d for d in made[4:] if "/" not in d.id] == rest
    assert merge_songs(patterns, {}) == patterns


def test_a_song_goes_on_step_by_step() -> None:
    """First its pattern; once that was held on an earlier day its next; no more than four on their way at once."""
    assert list(find_next_steps(DRILLS, {}, TODAY)) == ["landing/plain/pattern/outside-in"]

    def held(*ids: str, days_ago: int = 1) -> dict[str, object]:
        return {id_: past_of([take(id_, days_ago, tempo=50)]) for id_ in ids}

    begun = held("landing/plain/pattern/outside-in")
    assert next(iter(find_next_steps(DRILLS, begun, TODAY))) == BY_ID["landing/plain/part/Verse"].grows_from  # type: ignore[arg-type]
    ids = [d.id for d in DRILLS][:SONG_AT_ONCE]
    assert find_next_steps(DRILLS, held(*ids), TODAY) == {}  # type: ignore[arg-type]
    resting = settle_drills(DRILLS, Settled(resting=True))
    assert find_next_steps(resting, {}, TODAY) == {}
    wanted = settle_drills(DRILLS, Settled(taken=True, due=TODAY + timedelta(3)))
    through = held(*(d.id for d in wanted if d.due is not None))
    fast = {id_: past_of([take(id_, 1, tempo=200)]) for id_ in through}
    assert find_next_steps(wanted, fast, TODAY) == {}  # all that leads there is begun: nothing else before the day
    assert find_next_steps(DRILLS, fast, TODAY)


def test_a_day_is_for_what_leads_to_the_song_sung() -> None:
    """Wanted by a day: pattern, hard changes, parts, words and the whole sung, of the plainest arrangement; not what
    waits behind it. A rest is of all of it."""
    wanted = settle_drills(DRILLS, Settled(taken=True, due=date(2026, 3, 20)))
    dated = [d.id for d in wanted if d.due == date(2026, 3, 20)]
    assert dated[-1] == "landing/plain/sing"
    assert dated == [d.id for d in DRILLS][: len(dated)]
    assert {"landing/plain/pattern/outside-in", "landing/plain/part/Verse/sing", "landing/plain"} <= set(dated)
    assert all(d.due is None for d in wanted if d.id.endswith("sing-full") or d.id.startswith("landing/full"))
    assert all(d.resting for d in settle_drills(DRILLS, Settled(resting=True)))


# Kept at hand -------------------------------------------------------------------------------


def test_drills_are_made_again_when_the_file_or_the_patterns_change(tmp_path: Path) -> None:
    """The same from the file as made; made anew after a change; a damaged file is no matter."""
    song, kept = tmp_path / "landing.song.toml", tmp_path / "kept.json"
    song.write_text("one", "utf-8")
    made: list[int] = []

    def make() -> tuple[Drill, ...]:
        made.append(1)
        return DRILLS

    def ask(stamp: str) -> tuple[Drill, ...]:
        keep = SongDrillCache(kept, stamp)
        found = keep.of(song, make)
        keep.save()
        return found

    assert ask("a") == ask("a") == DRILLS
    assert len(made) == 1
    song.write_text("another", "utf-8")
    assert ask("a") == DRILLS
    assert ask("b") == DRILLS
    assert len(made) == 3
    kept.write_text('{"stamp": "b", "songs": {"' + str(song) + '": 7}}', "utf-8")
    assert ask("b") == DRILLS
    changed = kept.read_text("utf-8").replace(f'"target_bpm": {DRILLS[0].target_bpm}', '"target_bpm": 41', 1)
    kept.write_text(changed, "utf-8")
    assert '"target_bpm": 41' in changed
    assert ask("b") == DRILLS  # a byte that was changed is seen

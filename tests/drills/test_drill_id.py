"""Ids of drills: taken apart and written back the same, whatever stands in a ledger."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach import places
from coach.drills.corners import make_corner
from coach.drills.drill_id import DrillId, Kind, Voice
from coach.drills.repertoire import make_pattern_drills
from coach.drills.song_drills import make_song_corner, make_song_drills
from coach.picking.pattern_library import read_library
from coach.song.chart import Song
from tests.song.made_up import songs

LIBRARY = read_library(places.shipped("patterns"), places.shipped("patterns") / "none")

words = st.sampled_from(
    ["", "ferry", "plain", "Verse", "Verse 2", "C-F", "D", "0", "3", "03", "12", "٣", *Kind, *Voice]
) | st.text(max_size=4)


@given(st.lists(words, max_size=6).map("/".join) | st.text())
def test_every_text_of_a_ledger_is_written_back_the_same(text: str) -> None:
    """Also what was written by hand, or by a program of another age."""
    assert str(DrillId.parse(text)) == text


@given(songs())
def test_every_drill_of_a_made_up_song_is_told_by_its_id(song: Song) -> None:
    """Its song, its kind, whether it is sung; and so is the corner in it."""
    for drill in make_song_drills(song, LIBRARY.patterns):
        asked = drill.parsed_id
        assert DrillId.parse(str(asked)) == asked
        assert (str(asked), drill.song, asked.names_song_drill) == (drill.id, song.id, True)
        assert drill.kind == (Kind.SING if asked.voice else asked.kind)
        if drill.kind.traits.has_corners:
            corner = make_song_corner(drill, 1).parsed_id
            assert (corner.song, corner.kind, corner.name) == (song.id, Kind.CORNER, asked.name)
            assert DrillId.parse(str(corner)) == corner


@pytest.mark.parametrize("drill", make_pattern_drills(LIBRARY), ids=lambda drill: drill.id)
def test_a_pattern_and_its_corner_are_of_no_song(drill) -> None:  # type: ignore[no-untyped-def]
    """`outside-in`, `outside-in/corner/1`."""
    assert drill.parsed_id == DrillId(kind=Kind.PATTERN, name=drill.id)
    corner = make_corner(drill, LIBRARY.patterns[drill.pattern], 0)
    assert corner.id == f"{drill.id}/corner/1"
    assert corner.parsed_id == DrillId(kind=Kind.CORNER, name=drill.id, bar=1)
    assert (drill.song, corner.song) == ("", "")


@pytest.mark.parametrize("name", ["sing", "sing-full", "corner", "part"])
def test_a_thing_may_be_called_like_a_word_of_ids(name: str) -> None:
    """A part, a pattern or an arrangement called `sing`."""
    for asked in (
        DrillId("ferry", "plain", Kind.PART, name),
        DrillId("ferry", "plain", Kind.PART, name, voice=Voice.SING),
        DrillId("ferry", "plain", Kind.PATTERN, name),
        DrillId("ferry", "plain", Kind.SPOKEN, name),
        DrillId("ferry", name),
        DrillId("ferry", name, voice=Voice.SING_FULL),
    ):
        assert DrillId.parse(str(asked)) == asked


def test_kinds_and_voices_are_the_words_that_stand_in_ledgers() -> None:
    """They may never change."""
    assert [*Kind] == ["pattern", "song", "part", "change", "corner", "spoken", "sing", "other"]
    assert [*Voice] == ["", "sing", "sing-full"]

"""The sheet of a key."""

from __future__ import annotations

import pytest

from coach.music.keys import Key
from coach.music.keysheet import KeySheet, KeySheetEntry, keysheet_text, make_keysheet, make_keysheets


def as_text(entries: tuple[KeySheetEntry, ...]) -> str:
    """The entries as `numeral chord` pairs."""
    return ", ".join(f"{e.numeral} {e.chord}" for e in entries)


def test_the_sheet_of_a_minor_key() -> None:
    """A minor: natural triads, E and G#dim from the raised seventh, and from A major only what A minor has not."""
    sheet = make_keysheet(Key.parse("Am"))
    assert as_text(sheet.triads) == "i Am, ii° Bdim, III C, iv Dm, v Em, VI F, VII G"
    assert as_text(sheet.raised) == "V E, V7 E7, vii° G#dim, vii°7 G#dim7"
    assert as_text(sheet.borrowed) == "I A, ii Bm, #iii C#m, IV D, vi F#m"
    dominants = "V/iv A, V/V B, V/VII D, V7/III G7, V7/iv A7, V7/V B7, V7/VI C7, V7/VII D7"
    assert as_text(sheet.dominants) == dominants


def test_the_sheet_of_a_major_key() -> None:
    """G major: no raised seventh; V/IV only with its seventh, or it would be I."""
    sheet = make_keysheet(Key.parse("G"))
    assert as_text(sheet.sevenths) == "Imaj7 Gmaj7, ii7 Am7, iii7 Bm7, IVmaj7 Cmaj7, V7 D7, vi7 Em7, viiø7 F#m7b5"
    assert sheet.raised == ()
    assert as_text(sheet.dominants[:4]) == "V/ii E, V/iii F#, V/V A, V/vi B"
    assert as_text(sheet.dominants[4:]) == "V7/ii E7, V7/iii F#7, V7/IV G7, V7/V A7, V7/vi B7"


@pytest.mark.parametrize("sheet", make_keysheets(), ids=lambda sheet: str(sheet.key))
def test_no_chord_stands_twice_in_a_group(sheet: KeySheet) -> None:
    """And none is borrowed that the key has itself."""
    for _, entries in sheet.groups:
        assert len({e.chord for e in entries}) == len(entries)
    own = {e.chord for e in (*sheet.triads, *sheet.raised)}
    assert not own & {e.chord for e in sheet.borrowed}


@pytest.mark.parametrize("sheet", make_keysheets(), ids=lambda sheet: str(sheet.key))
def test_every_chord_is_on_the_printed_sheet(sheet: KeySheet) -> None:
    """Within 80 columns, each under its numeral."""
    lines = keysheet_text(sheet)
    assert max(map(len, lines)) <= 80
    words = [line.split() for line in lines]
    for _, entries in sheet.groups:
        for entry in entries:
            assert any(entry.numeral in row for row in words)
            assert any(str(entry.chord) in row for row in words)


def test_players_names_stand_below_and_are_labelled() -> None:
    """Ab major borrows Fb and Cb; the sheet tells what players call them, and C major has nothing to tell."""
    assert keysheet_text(make_keysheet(Key.parse("Ab")))[-1] == "As players say it: Cb is B, Fb is E."
    assert not any("players" in line for line in keysheet_text(make_keysheet(Key.parse("C"))))

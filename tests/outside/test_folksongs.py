"""Real tunes: lead sheets and folk songs of music21's corpus brought in, arranged, and read back note for note.

Sources: S. C. Foster, Jeanie with the Light Brown Hair, 1854 (corpus leadSheet/fosterBrownHair.mxl, marked public
domain); Queen Liliuokalani, Aloha Oe, 1884 (corpus liliuokalani/aloha_oe.mxl, marked public domain, encoding CC0);
G. Verdi, La donna e mobile, 1851 (corpus verdi/laDonnaEMobile.mxl); the tunes of tests/folksongs.py.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from coach import shelf
from coach.guitar.grip import Hand
from coach.music.notes import read_range
from coach.picking.plucks import ACCENT
from coach.song.arranging.arranger import propose
from coach.song.chart import Song
from coach.song.files.song_file import parse_song
from coach.song.files.song_text import song_text
from coach.song.leadsheet.lead_sheet import read_leadsheet
from coach.song.perform import perform
from coach.song.piece import Piece
from tests.folksongs import NAMES, corpus, sounding, write_sheet
from tests.song.arranging.test_arranger import check_piece

PATTERNS, BOOK = shelf.library().patterns, shelf.shapes()
JEANIE = "leadSheet/fosterBrownHair.mxl"


@pytest.fixture(scope="module")
def jeanie() -> Song:
    """Foster's song as it stands in the corpus."""
    return read_leadsheet(corpus() / JEANIE).song


def read_back(piece: Piece) -> tuple[list[tuple[int, Fraction, int]], list[tuple[int, Fraction, int]]]:
    """(the tune as it sounds, what the fingers accent), each as (bar, beat, MIDI number)."""
    tune = [(b.number, n.beat, n.pitch.midi) for b in piece.bars for n in b.tune if not n.tied]
    plucked = [
        (b.number, p.beat, p.midi) for b in piece.bars for p in b.plucks if p.finger != "p" and p.stress == ACCENT
    ]
    return tune, plucked


def test_the_sheet_of_1854_is_read_as_it_stands(jeanie: Song) -> None:
    """Its title, first line and stanza, its first chords, and that it is played twice with two endings (65 bars)."""
    assert jeanie.title == "Jeanie With The Light Brown Hair"
    assert str(jeanie.meter) == "4/4"
    assert sum(len(jeanie.parts[name].bars) for name in jeanie.order) == 65
    played = [bar for name in jeanie.order for bar in jeanie.parts[name].bars]
    assert [str(bar.chords[0][1]) for bar in played[1:4]] == ["F", "Bb", "F"]
    first = " ".join(w.text for bar in played[:5] for w in bar.words)
    assert first == "I dream of Jean- nie with the light brown hair"
    assert any(w.text == "long" for w in played[33].words)


def test_its_signature_is_found_to_be_wrong(jeanie: Song) -> None:
    """The sheet gives no flat but writes each B flat: its chords and tune are those of F major, and that is told."""
    assert str(jeanie.key) == "F"
    notes = read_leadsheet(corpus() / JEANIE).notes
    assert any("C major" in text and "F major" in text for text in notes)


def test_its_range_is_that_of_the_notes(jeanie: Song) -> None:
    """From C4 to F5, as printed."""
    assert jeanie.voice is not None
    assert tuple(map(str, jeanie.voice)) == ("C4", "F5")


def test_it_fits_a_voice_of_a2_to_d4(jeanie: Song) -> None:
    """An octave and a fourth fits an octave and a fourth: only D major does it, and both tiers sound there."""
    voice = read_range("A2-D4")
    for tier in ("plain", "full"):
        arrangement = propose(jeanie, PATTERNS, BOOK, tier=tier, voice=voice)
        piece = perform(jeanie, arrangement, PATTERNS, BOOK)
        sung = [n.pitch.midi for bar in piece.bars for n in bar.tune]
        assert (min(sung), max(sung)) == (voice[0].midi, voice[1].midi)
        check_piece(jeanie, piece, Hand())


def test_a_sheet_without_symbols_gets_chords_of_its_key() -> None:
    """Aloha Oe has none: they are put there by rule, all of them chords of G, and the note says so."""
    sheet = read_leadsheet(corpus() / "liliuokalani/aloha_oe.mxl")
    chords = {str(c) for part in sheet.song.parts.values() for bar in part.bars for _, c in bar.chords if c}
    assert chords <= {"G", "Am", "C", "D", "Em"}
    assert any("no chord symbols" in text for text in sheet.notes)
    assert sheet.song.tempo == 90
    last = [c for bar in sheet.song.parts[sheet.song.order[-1]].bars for _, c in bar.chords][-1]
    assert str(last) == "G"


def test_a_voice_and_its_keyboard_in_one_part_are_read_by_the_voice() -> None:
    """La donna e mobile, on two staves of one part: B flat major, 3/8, its first words and its two stanzas."""
    sheet = read_leadsheet(corpus() / "verdi/laDonnaEMobile.mxl")
    assert str(sheet.song.key) == "Bb"
    assert any("3/8 is written as 3/4" in text for text in sheet.notes)
    first = [w.text for bar in sheet.song.parts[sheet.song.order[0]].bars for w in bar.words]
    assert first[:4] == ["La", "don-", "na.è", "mo-"]
    assert len(sheet.song.order) == 2


@pytest.mark.parametrize(("file", "number"), NAMES)
def test_a_folk_song_is_brought_in_and_placed_whole(tmp_path: Path, file: str, number: int) -> None:
    """All its notes come in; every one lies on the top strings in some key, in pitch and beat, within the hand."""
    song = read_leadsheet(write_sheet(file, number, tmp_path)).song
    written = list(sounding(file, number))
    brought = [n.pitch.midi for part in song.parts.values() for bar in part.bars for n in bar.tune if not n.tied]
    assert set(brought) == set(written)
    assert len(brought) >= len(written)  # a part that comes twice in another guise stands twice
    assert parse_song(song_text(song), song.id).parts == song.parts
    piece = perform(song, propose(song, PATTERNS, BOOK, melody=True), PATTERNS, BOOK)
    tune, plucked = read_back(piece)
    assert tune == plucked
    assert len(tune) >= len(written)
    check_piece(song, piece, Hand())

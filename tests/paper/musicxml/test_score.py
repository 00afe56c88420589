"""What stands in a score beside its notes: parts, chords, words, capo, ties, accidentals; and what it never holds."""

from __future__ import annotations

import datetime
from dataclasses import replace
from fractions import Fraction

import pytest

from coach.errors import CoachError
from coach.guitar.tuning import Tuning
from coach.music.keys import Key
from coach.music.qualities import QUALITIES
from coach.paper.musicxml.chord_symbols_out import make_harmony
from coach.paper.musicxml.score import make_musicxml
from coach.paper.musicxml.voice_part import syllabics
from coach.paper.spelling import spelling_of
from coach.paper.written_bars import swing_changes, swing_ratio
from coach.song.chart import HOLD, Word
from coach.song.leadsheet.chord_symbols_in import harmonies
from coach.song.piece import Piece
from tests.paper.made import bar_of, over, piece_of, sung
from tests.paper.scores import ET, part, score


def guitar(piece: Piece, **how: bool) -> ET.Element:
    """The guitar's part of the score."""
    return part(score(make_musicxml(piece, **how)), "Guitar")


def test_a_pattern_s_score_is_the_guitar_alone_and_a_song_s_has_a_voice_above_it() -> None:
    """The voice comes in where there are words or a tune."""
    names = [[p.text for p in score(make_musicxml(piece)).iter("part-name")] for piece in (over("outside-in"), sung())]
    assert names == [["Guitar"], ["Voice", "Guitar"]]


def test_words_stand_under_their_notes_in_syllables() -> None:
    """fer-ry bell: begin, end, single; under the tune where it is known, else in rhythm without a pitch."""
    voice = part(score(make_musicxml(sung())), "Voice")
    first, third = voice.findall("measure")[0], voice.findall("measure")[2]
    for measure in (first, third):
        said = [(y.findtext("syllabic"), y.findtext("text")) for y in measure.iter("lyric")]
        assert said == [("begin", "fer"), ("end", "ry"), ("single", "bell")]
    assert [len(m.findall("note/pitch")) for m in (first, third)] == [3, 0]
    assert len(third.findall("note/unpitched")) == 3


def test_a_word_of_three_syllables_has_a_middle_and_goes_on_over_the_bar_line() -> None:
    """by-the-by: begin, middle, end."""
    bars = [replace(bar_of("4/4"), words=tuple(Word(Fraction(k), t) for k, t in row)) for row in (
        ((0, "by-"), (2, "the-")), ((0, "by"), (1, "-")))]  # fmt: skip
    rows = [[syllabic for _, syllabic in row] for row in syllabics(piece_of(*bars))]
    assert rows == [["begin", "middle"], ["end", "single"]]


def test_two_words_on_one_note_stand_together() -> None:
    """Where the tune has fewer notes than the words, they share one."""
    piece = sung()
    crowded = replace(piece.bars[0], words=(Word(Fraction(2), "old"), Word(Fraction(3), "bell")))
    measure = part(score(make_musicxml(replace(piece, bars=(crowded, *piece.bars[1:])))), "Voice").find("measure")
    assert measure is not None
    assert [t.text for t in measure.iter("text")] == ["old bell"]


def test_a_tune_held_over_the_bar_line_is_tied() -> None:
    """The A in the first bar starts a tie and the one in the second stops it."""
    measures = part(score(make_musicxml(sung())), "Voice").findall("measure")
    assert [t.get("type") for t in measures[0].findall("note")[-1].findall("tie")] == ["start"]
    assert [t.get("type") for t in measures[1].findall("note")[0].findall("tie")] == ["stop"]


def test_a_chord_is_named_where_it_changes_and_where_a_part_begins() -> None:
    """G C in the verse and again in the chorus, though nothing changed from loop to loop of a pattern alone."""
    assert [r.text for r in guitar(sung()).iter("root-step")] == ["A", "D", "A", "D"]  # behind capo 2
    assert [r.text for r in guitar(over("outside-in", "C | C | F", loops=1)).iter("root-step")] == ["C", "F"]


def test_with_a_capo_the_sounding_chord_is_named_and_the_shape_in_brackets() -> None:
    """G at capo 2 sounds A: written A with (G), the frame of the G shape, three sharps, capo 2 on the tab staff."""
    piece = replace(over("outside-in", "G", capo=2), key=Key.parse("G"))
    tree = guitar(piece)
    assert tree.findtext(".//root-step") == "A"
    assert "(G)" in [w.text for w in tree.iter("words")]
    assert "Capo 2" in [w.text for w in tree.iter("words")]
    assert tree.findtext(".//fifths") == "3"
    assert tree.findtext(".//capo") == "2"
    assert tree.findtext(".//frame/frame-note/fret") == "3"


def test_a_chord_in_the_middle_of_a_note_has_an_offset() -> None:
    """C F in one bar under a thumb that plucks once: F comes two quarters after the note, in divisions."""
    held = over("outside-in", "C F").bars[0].held
    tree = guitar(piece_of(replace(bar_of("4/4", thumb=["0"]), held=held)))
    divisions = int(tree.findtext(".//divisions", ""))
    assert [h.findtext("offset") for h in tree.iter("harmony")] == [None, str(2 * divisions)]


def test_where_there_is_no_chord_the_score_says_so() -> None:
    """N is of kind none, and the bar rests."""
    tree = guitar(over("outside-in", "N | C"))
    assert tree.findtext(".//kind") == "none"
    rest = tree.find(".//note/rest")
    assert rest is not None
    assert rest.get("measure") == "yes"


@pytest.mark.parametrize("quality", QUALITIES)
def test_our_own_reader_understands_every_chord_we_write(quality: str) -> None:
    """Written and read again each quality is itself."""
    from coach.music.chords import Chord

    chord = Chord.parse(f"Eb{quality}/G" if quality == "" else f"Eb{quality}")
    measure = ET.Element("measure")
    measure.append(make_harmony(chord, None))
    (read,), _ = harmonies(measure, Fraction(1))
    assert read.chord == chord


def test_parts_have_their_names_and_a_double_line_at_their_end() -> None:
    """Two parts of two bars: a rehearsal mark each; light-light after the first, light-heavy at the end."""
    tree = score(make_musicxml(sung()))
    assert [r.text for r in tree.iter("rehearsal")] == ["Verse", "Chorus"]
    lines = [[b.text for b in m.iter("bar-style")] for m in part(tree, "Guitar").findall("measure")]
    assert lines == [[], ["light-light"], [], ["light-heavy"]]


def test_meter_and_tempo_are_told_where_they_change() -> None:
    """Two bars of 4/4, then 6/8 at the same number: the dotted quarter is another note, so the tempo is told again."""
    piece = piece_of(bar_of("4/4", [0]), bar_of("4/4", [0]), bar_of("6/8", [0]))
    measures = guitar(piece).findall("measure")
    assert [(m.findtext(".//beats"), m.findtext(".//beat-type")) for m in measures] == [
        ("4", "4"), (None, None), ("6", "8"),
    ]  # fmt: skip
    assert [[s.get("tempo") for s in m.iter("sound")] for m in measures] == [["60"], [], ["90"]]


def test_a_pick_up_is_bar_nought_and_does_not_count() -> None:
    """Measure 0, implicit; the next is 1."""
    measures = guitar(piece_of(bar_of("4/4", [0], beats=1), bar_of("4/4", [0]))).findall("measure")
    assert [(m.get("number"), m.get("implicit")) for m in measures] == [("0", "yes"), ("1", None)]


def test_accidentals_are_printed_once_a_bar() -> None:
    """In C the F# of D/F# is told the first time it comes, and again only in the next bar."""
    piece = replace(over("thumb-root-and-alternate", "D/F# | D/F#"), key=Key.parse("C"))
    for measure in guitar(piece).findall("measure"):
        notes = measure.findall("note")
        raised = [n for n in notes if n.findtext("staff") == "1" and n.findtext("pitch/alter")]
        signs = [n.findtext("accidental") for n in raised]
        assert len(raised) > 1
        assert signs == ["sharp", *[None] * (len(raised) - 1)]
        assert not any(n.find("accidental") is not None for n in notes if n.findtext("staff") == "2")


def test_notes_are_spelled_as_tones_of_their_chord() -> None:
    """The third of Eb is G and its root Eb, never D#, whatever the key."""
    piece = replace(over("outside-in", "Eb"), key=Key.parse("E"))
    hold = piece.bars[0].held.holds[0]
    assert str(spelling_of(piece).pitch(51, hold)) == "Eb3"
    assert str(spelling_of(piece).pitch(54, hold)) == "F#3"  # no tone of Eb: as the key of E writes it


def test_the_fretting_finger_stands_on_the_tab_where_the_shape_knows_it() -> None:
    """C shape x32010: ring finger on string 5, none on an open string."""
    plucked = guitar(over("pinch-on-one", "C")).iter("technical")
    fingers = {t.findtext("string"): t.findtext("fingering") for t in plucked if t.find("string") is not None}
    assert fingers["5"] == "3"
    assert fingers["3"] is None


def test_ghost_plucks_are_bracketed_and_accents_marked() -> None:
    """Soft: a head in parentheses; accent: on the staff of notes."""
    ghosts = guitar(over("ghost-index", "C"))
    assert [h.get("parentheses") for h in ghosts.iter("notehead")].count("yes") > 0
    bar = bar_of("4/4", [0, 2])
    loud = replace(bar, plucks=(replace(bar.plucks[0], stress="accent"), bar.plucks[1]))
    assert len(list(guitar(piece_of(loud)).iter("accent"))) == 1


def test_another_tuning_is_on_its_lines_and_in_words() -> None:
    """Strings 6 to 1 of D A D G B E lie on lines 1 to 6."""
    piece = replace(over("outside-in", "C"), tuning=Tuning.of("D2 A2 D3 G3 B3 E4"))
    tree = guitar(piece)
    tunings = tree.iter("staff-tuning")
    lines = {t.get("line"): t.findtext("tuning-step", "") + t.findtext("tuning-octave", "") for t in tunings}
    assert lines == {"1": "D2", "2": "A2", "3": "D3", "4": "G3", "5": "B3", "6": "E4"}
    assert "Tuning D2 A2 D3 G3 B3 E4" in [w.text for w in tree.iter("words")]


def test_swing_is_found_from_where_plucks_are_played() -> None:
    """3/5 of the beat is 3:2; 0.6667 is meant to be 2:1; a straight bar after a swung one is told."""
    swung = over("swing-easy", "C | C")
    assert swing_changes(swung.bars) == {0: Fraction(3, 5)}
    assert (swing_ratio(Fraction(3, 5)), swing_ratio(Fraction("0.6667"))) == ((3, 2), (2, 1))
    both = (*swung.bars, replace(over("outside-in", "C").bars[0], number=2))
    assert swing_changes(both) == {0: Fraction(3, 5), 2: Fraction(1, 2)}
    assert guitar(replace(swung, bars=both)).find(".//swing/straight") is not None


def test_the_file_is_the_same_every_time_and_dated_only_if_asked() -> None:
    """No clock and no machine in it; the source stands under rights and source."""
    assert make_musicxml(sung()) == make_musicxml(sung())
    tree = score(make_musicxml(sung(), source="Traditional", date=datetime.date(2026, 1, 2)))
    assert tree.findtext("identification/encoding/encoding-date") == "2026-01-02"
    assert tree.findtext("identification/rights") == tree.findtext("identification/source") == "Traditional"
    assert score(make_musicxml(sung())).find(".//encoding-date") is None


def test_a_title_with_marks_and_control_characters_is_still_xml() -> None:
    """& < and accents are kept; what XML has no place for is left out."""
    piece = replace(over("outside-in", "C"), title="Fähre & <Glocke>\x07")
    assert score(make_musicxml(piece)).findtext("work/work-title") == "Fähre & <Glocke>"


def test_a_piece_without_bars_is_refused_in_a_sentence() -> None:
    """There is nothing to write."""
    with pytest.raises(CoachError, match=r"'Nothing' has no bars to write down; give it at least one bar\."):
        make_musicxml(Piece("nothing", "Nothing", ()))


def test_a_pick_up_in_which_a_part_rests_has_rests_of_its_own_length() -> None:
    """Not a whole-bar rest, which readers take for a full bar: three quarters and then four come to seven."""
    from music21 import converter

    up = replace(bar_of("4/4", beats=3), words=(Word(Fraction(0), "the"),))
    piece = piece_of(up, bar_of("4/4", fingers=(0, 1, 2, 3)))
    text = make_musicxml(piece).decode()
    assert 'measure="yes"' not in text.split("</measure>")[0]
    assert converter.parseData(text, format="musicxml").parts[1].highestTime == 7


def test_a_last_chord_that_is_held_has_a_fermata_and_an_earlier_one_rings() -> None:
    """A fermata over the fingers and one upside down under the thumb, on the staff of notes only."""
    held = replace(bar_of("4/4", fingers=(0,), thumb=(0,)), way=HOLD)
    measures = guitar(piece_of(held, held)).findall("measure")
    assert [words.text for words in measures[0].iter("words")] == ["let ring"]
    assert not list(measures[0].iter("fermata"))
    notes = list(measures[1].iter("note"))
    over = [(note.findtext("staff"), sign.get("type")) for note in notes for sign in note.iter("fermata")]
    assert over == [("1", "upright"), ("1", "inverted")]

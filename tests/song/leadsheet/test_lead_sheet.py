"""Lead sheets brought in: what stands in the MusicXML stands in the song, and what cannot is told."""

from __future__ import annotations

import re
import sys
import xml.etree.ElementTree as ET
import zipfile
from fractions import Fraction
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadInput, CoachError
from coach.music.chords import Chord
from coach.song.chart import Song
from coach.song.files.song_file import parse_song
from coach.song.files.song_text import song_text
from coach.song.leadsheet.lead_sheet import LeadSheet, read_leadsheet, slug
from tests.effort import examples
from tests.sentences import is_one_sentence
from tests.song.sheets import HEAD, TAIL, attributes, harmony, note, sheet


def sung_or_told(path: Path) -> bool:
    """Whether the file gives a song that can be written and read again, or one sentence."""
    try:
        song = read_leadsheet(path).song
    except BadInput as error:
        return is_one_sentence(error)
    return parse_song(song_text(song), song.id).order == song.order


REPEAT = '<barline location="right"><repeat direction="backward"/></barline>'


def read(tmp_path: Path, *bars: str) -> LeadSheet:
    """The sheet with these bars."""
    path = tmp_path / "ferry.musicxml"
    path.write_text(sheet(bars), "utf-8")
    return read_leadsheet(path)


def chords_of(song: Song) -> list[str]:
    """The chords of each bar of the first part."""
    part = next(iter(song.parts.values()))
    return [" ".join(str(c) if c else "N" for _, c in bar.chords) for bar in part.bars]


def test_a_bar_of_a_sheet_is_a_bar_of_the_song(tmp_path: Path) -> None:
    """Title, key, meter, chord, notes on their beats and syllables under them."""
    bar = harmony("G") + note("G4", 1, "salt") + note("A4", 0.5, "o-") + note("B4", 0.5, "ver") + note("D5", 2, "board")
    song = read(tmp_path, attributes(1) + bar).song
    assert (song.title, str(song.key), str(song.meter), song.order) == ("Ferry", "G", "4/4", ("Verse",))
    (only,) = song.parts["Verse"].bars
    assert only.chords == ((0, Chord.parse("G")),)
    assert [(n.beat, n.length, str(n.pitch)) for n in only.tune] == [
        (0, 1, "G4"), (1, Fraction(1, 2), "A4"), (Fraction(3, 2), Fraction(1, 2), "B4"), (2, 2, "D5"),
    ]  # fmt: skip
    assert [(w.beat, w.text) for w in only.words] == [(0, "salt"), (1, "o-"), (Fraction(3, 2), "ver"), (2, "board")]


def test_the_range_is_that_of_the_notes(tmp_path: Path) -> None:
    """From the lowest note to the highest."""
    song = read(tmp_path, attributes() + harmony("C") + note("E4", 2) + note("C5", 2)).song
    assert song.voice is not None
    assert tuple(map(str, song.voice)) == ("E4", "C5")


def test_a_chord_sounds_on_until_the_next(tmp_path: Path) -> None:
    """A bar without a symbol has the chord before; one that changes on beat 3 has both."""
    song = read(
        tmp_path, attributes() + harmony("C") + note("C4", 4), note("C4", 4),
        note("C4", 2) + harmony("G", "dominant") + note("B4", 2),
    ).song  # fmt: skip
    assert chords_of(song) == ["C", "C", "C G7"]
    assert song.parts["Verse"].bars[2].chords[1][0] == 2


def test_before_the_first_chord_there_is_none(tmp_path: Path) -> None:
    """A bar before the first symbol is N, and `none` in the sheet is N again."""
    song = read(
        tmp_path, attributes() + note("C4", 4), harmony("C") + note("C4", 4),
        "<harmony><root><root-step>C</root-step></root><kind>none</kind></harmony>" + note("C4", 4),
    ).song  # fmt: skip
    assert chords_of(song) == ["N", "C", "N"]


def test_a_pick_up_keeps_its_length(tmp_path: Path) -> None:
    """One quarter before the first full bar: a bar of one beat."""
    song = read(tmp_path, attributes() + note("D4", 1), harmony("G") + note("G4", 4)).song
    assert [bar.beats for bar in song.parts["Verse"].bars] == [1, None]


def test_six_eight_is_counted_in_dotted_quarters(tmp_path: Path) -> None:
    """Six eighths are two beats, so an eighth is a third of one; quarter = 90 is 60 of them a minute."""
    tempo = '<direction><sound tempo="90"/></direction>'
    song = read(tmp_path, attributes(1, "6/8") + tempo + harmony("G") + note("G4", 0.5) * 6).song
    assert [n.beat for n in song.parts["Verse"].bars[0].tune] == [Fraction(k, 3) for k in range(6)]
    assert song.tempo == 60


def test_a_repeat_is_played_twice(tmp_path: Path) -> None:
    """The same words: one part, twice in the order. Others the second time: a part of its own."""
    first, second = attributes() + harmony("C") + note("C4", 4, "one"), harmony("G") + note("D4", 4, "two") + REPEAT
    again = read(tmp_path, first, second).song
    assert again.order == ("Verse", "Verse")
    other = read(tmp_path, first.replace("one", "one"), second, harmony("C") + note("C4", 4)).song
    assert other.order == ("A", "A", "B")
    sung = attributes() + harmony("C") + note("C4", 4, "one|three"), harmony("G") + note("D4", 4, "two|four") + REPEAT
    verses = read(tmp_path, *sung).song
    assert verses.order == ("Verse", "Verse 2")
    assert [w.text for bar in verses.parts["Verse 2"].bars for w in bar.words] == ["three", "four"]


def test_endings_are_taken_in_turn(tmp_path: Path) -> None:
    """Bars 1 2, then 1 3: the first ending once, the second after the repeat."""
    one = '<barline location="left"><ending number="1" type="start"/></barline>'
    one_end = (
        '<barline location="right"><ending number="1" type="stop"/><repeat direction="backward"/></barline>'
    )
    two = '<barline location="left"><ending number="2" type="start"/></barline>'
    two_end = '<barline location="right"><ending number="2" type="stop"/></barline>'
    song = read(
        tmp_path, attributes() + harmony("C") + note("C4", 4), one + harmony("F") + note("F4", 4) + one_end,
        two + harmony("G") + note("G4", 4) + two_end,
    ).song  # fmt: skip
    played = [str(bar.chords[0][1]) for name in song.order for bar in song.parts[name].bars]
    assert played == ["C", "F", "C", "G"]


def test_a_second_repeat_without_its_beginning_follows_the_first(tmp_path: Path) -> None:
    """A :| B :| is A A B B, as tune books mean it, and it is told; with its sign at the beginning nothing is."""
    first, second = attributes() + harmony("C") + note("C4", 4) + REPEAT, harmony("G") + note("G4", 4) + REPEAT
    sheet_ = read(tmp_path, first, second)
    played = [str(bar.chords[0][1]) for name in sheet_.song.order for bar in sheet_.song.parts[name].bars]
    assert played == ["C", "C", "G", "G"]
    assert any("no sign at its beginning" in text for text in sheet_.notes)
    signed = read(tmp_path, first, '<barline location="left"><repeat direction="forward"/></barline>' + second)
    assert signed.song.order == sheet_.song.order
    assert not any("no sign at its beginning" in text for text in signed.notes)


@pytest.mark.parametrize(
    ("fifths", "mode", "key"), [(-1, "dorian", "Gm"), (0, "mixolydian", "G"), (1, "lydian", "C"), (0, "aeolian", "Am")]
)
def test_a_church_mode_is_kept_by_its_final(tmp_path: Path, fifths: int, mode: str, key: str) -> None:
    """G Dorian has one flat and a minor third on G, so it is kept as G minor; and so with the others."""
    sheet_ = read(tmp_path, attributes(fifths, mode=mode) + note("G4", 4))
    assert str(sheet_.song.key) == key
    assert any(f"{mode} mode" in text for text in sheet_.notes)


def test_stanzas_without_a_repeat_are_sung_one_after_the_other(tmp_path: Path) -> None:
    """Two stanzas under one melody: the tune twice, each with its words."""
    song = read(tmp_path, attributes() + harmony("C") + note("C4", 4, "first|second")).song
    assert [song.parts[name].bars[0].words[0].text for name in song.order] == ["first", "second"]


def test_a_change_of_meter_begins_a_part(tmp_path: Path) -> None:
    """Four in a bar, then three: the second part has its own meter."""
    song = read(
        tmp_path, attributes() + harmony("C") + note("C4", 4), attributes(meter="3/4") + note("C4", 3), note("D4", 3)
    ).song
    assert [(name, str(part.meter), len(part.bars)) for name, part in song.parts.items()] == [
        ("A", "None", 1), ("B", "3/4", 2),
    ]  # fmt: skip


def test_ties_go_on_over_the_bar_line(tmp_path: Path) -> None:
    """A note tied into the next bar is not sung anew."""
    song = read(
        tmp_path, attributes() + harmony("C") + note("C4", 4, "long", "start"),
        note("C4", 2, "", "stop") + note("D4", 2),
    ).song  # fmt: skip
    assert [n.tied for bar in song.parts["Verse"].bars for n in bar.tune] == [False, True, False]


def test_the_meters_of_old_prints_are_written_as_ours(tmp_path: Path) -> None:
    """Cut time is written as 4/4, 3/2 as 3/4 with notes half as long; both are told."""
    sheet_ = read(tmp_path, attributes(meter="3/2") + harmony("C") + note("C4", 2) * 3)
    assert str(sheet_.song.meter) == "3/4"
    assert [n.length for n in sheet_.song.parts["Verse"].bars[0].tune] == [1, 1, 1]
    assert any("3/2 is written as 3/4" in text for text in sheet_.notes)
    assert str(read(tmp_path, attributes(meter="2/2") + harmony("C") + note("C4", 4)).song.meter) == "4/4"


def test_a_bar_in_no_known_meter_loses_no_note(tmp_path: Path) -> None:
    """Seven eighths become a short bar of 4/4, eight quarters two bars; the notes are all there."""
    seven = read(tmp_path, attributes(meter="7/8") + harmony("C") + note("C4", 0.5) * 7)
    assert seven.song.parts["Verse"].bars[0].beats == Fraction(7, 2)
    assert any("7/8" in text for text in seven.notes)
    eight = read(tmp_path, attributes(meter="8/4") + harmony("C") + note("C4", 1) * 3 + note("D4", 3) + note("E4", 2))
    bars = eight.song.parts["Verse"].bars
    assert [[str(n.pitch) for n in bar.tune] for bar in bars] == [["C4", "C4", "C4", "D4"], ["D4", "E4"]]
    assert bars[1].tune[0].tied


def test_a_minor_key_is_told_by_its_mode_or_its_end(tmp_path: Path) -> None:
    """No sharps: A minor where the mode says so, and where it says nothing and the tune and chords end on A."""
    told = attributes(0, mode="minor") + harmony("A", "minor") + note("A4", 4)
    assert str(read(tmp_path, told).song.key) == "Am"
    silent = attributes(0, mode="") + harmony("A", "minor") + note("E4", 4), harmony("A", "minor") + note("A4", 4)
    assert str(read(tmp_path, *silent).song.key) == "Am"


def test_without_symbols_simple_chords_are_put_and_told(tmp_path: Path) -> None:
    """C E G, then D F G B, then C: C, G and C; the note says they were made by rule."""
    sheet_ = read(
        tmp_path, attributes() + note("C4", 1) + note("E4", 1) + note("G4", 2),
        note("D4", 1) + note("G4", 1) + note("B4", 2), note("C5", 4),
    )  # fmt: skip
    assert chords_of(sheet_.song) == ["C", "G", "C"]
    assert any("no chord symbols" in text for text in sheet_.notes)


def test_what_is_left_out_is_told(tmp_path: Path) -> None:
    """Grace notes, a lower voice, a transposing instrument: each has its sentence."""
    grace = "<note><grace/><pitch><step>B</step><octave>4</octave></pitch><voice>1</voice></note>"
    low = "<backup><duration>16</duration></backup>" + note("C3", 4).replace("<voice>1", "<voice>2")
    transposed = "<attributes><transpose><chromatic>-2</chromatic></transpose></attributes>"
    sheet_ = read(tmp_path, attributes() + transposed + harmony("C") + grace + note("C5", 4) + low)
    told = " ".join(sheet_.notes)
    assert "grace notes" in told
    assert "several voices" in told
    assert "transposing" in told
    assert [str(n.pitch) for n in sheet_.song.parts["Verse"].bars[0].tune] == ["C5"]


def test_the_voice_is_the_part_with_the_words(tmp_path: Path) -> None:
    """Of a piano part and a sung one the sung one is read, with the chords that stand over the piano."""
    piano = f'<part id="P1"><measure number="1">{attributes()}{harmony("F")}{note("C3", 4)}</measure></part>'
    voice = f'<part id="P2"><measure number="1">{attributes()}{note("A4", 4, "sung")}</measure></part>'
    names = "".join(f'<score-part id="P{k}"><part-name>x</part-name></score-part>' for k in (1, 2))
    path = tmp_path / "two.musicxml"
    path.write_text(
        f'<score-partwise version="4.0"><part-list>{names}</part-list>{piano}{voice}</score-partwise>', "utf-8"
    )
    song = read_leadsheet(path).song
    assert [str(n.pitch) for n in song.parts["Verse"].bars[0].tune] == ["A4"]
    assert chords_of(song) == ["F"]


def test_a_song_brought_in_is_written_and_read_the_same(tmp_path: Path) -> None:
    """Its file, read again, holds the same parts, order, key and range."""
    song = read(
        tmp_path, attributes(1) + note("D4", 1, "the"),
        harmony("G") + note("G4", 1.5, "boat") + note("A4", 0.5, "goes") + note("B4", 2, "o-"),
        harmony("D", "dominant") + note("A4", 4, "ver") + REPEAT,
    ).song  # fmt: skip
    again = parse_song(song_text(song), song.id)
    for name in ("title", "key", "meter", "tempo", "order", "parts", "voice"):
        assert getattr(again, name) == getattr(song, name)


def test_a_packed_sheet_is_the_same(tmp_path: Path) -> None:
    """An .mxl with a container gives what its .musicxml gives."""
    text = sheet([attributes() + harmony("C") + note("C4", 4)])
    plain, packed = tmp_path / "a.musicxml", tmp_path / "a.mxl"
    plain.write_text(text, "utf-8")
    container = '<container><rootfiles><rootfile full-path="deep/score.musicxml"/></rootfiles></container>'
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("META-INF/container.xml", container)
        archive.writestr("deep/score.musicxml", text)
    assert read_leadsheet(plain).song.parts == read_leadsheet(packed).song.parts


BROKEN = {
    "empty": b"",
    "words": b"this is no score",
    "half": sheet([attributes() + note("C4", 4)]).encode()[:200],
    "other": b"<html><body/></html>",
    "timewise": b"<score-timewise/>",
    "no part": b"<score-partwise/>",
    "no bar": (HEAD.format(title="x") + TAIL).encode(),
    "no note": sheet([attributes() + note("-", 4)]).encode(),
    "entities": b'<!DOCTYPE a [<!ENTITY b "c">]><score-partwise>&b;</score-partwise>',
    "outside entity": b'<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hostname">]><score-partwise>&b;</score-partwise>',
    "many laughs": b'<!DOCTYPE a [<!ENTITY b "ha"><!ENTITY c "&b;&b;">]><score-partwise>&c;</score-partwise>',
    "deep": b"<a>" * 500 + b"</a>" * 500,
    "nul": b"<score-partwise>\0</score-partwise>",
    "encoding": b'<?xml version="1.0" encoding="klingon"?><score-partwise/>',
    "zip": b"PK\x03\x04 and no more",
}


@pytest.mark.parametrize("name", BROKEN)
def test_what_is_no_lead_sheet_is_one_sentence(tmp_path: Path, name: str) -> None:
    """Broken, hostile or empty: one sentence with the file's name, never a traceback."""
    path = tmp_path / "bad.musicxml"
    path.write_bytes(BROKEN[name])
    with pytest.raises(BadInput) as caught:
        read_leadsheet(path)
    assert is_one_sentence(caught.value)
    assert str(caught.value).startswith("bad.musicxml")


def test_a_folder_and_a_missing_file_are_told(tmp_path: Path) -> None:
    """Neither can be read, and the sentence says what they are."""
    for path in (tmp_path, tmp_path / "none.musicxml"):
        with pytest.raises(BadInput) as caught:
            read_leadsheet(path)
        assert is_one_sentence(caught.value)


def test_an_archive_that_swells_is_refused(tmp_path: Path) -> None:
    """Thirty million blanks packed into a few kilobytes are not unpacked."""
    path = tmp_path / "bomb.mxl"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("score.musicxml", b" " * 30_000_000)
    assert path.stat().st_size < 100_000
    with pytest.raises(BadInput, match="larger than a lead sheet"):
        read_leadsheet(path)


def test_too_many_bars_are_refused(tmp_path: Path) -> None:
    """A sheet of 1,500 bars is no lead sheet."""
    path = tmp_path / "long.musicxml"
    path.write_text(sheet([attributes() + note("C4", 4)] + [note("C4", 4)] * 1500), "utf-8")
    with pytest.raises(BadInput, match="too many"):
        read_leadsheet(path)


def many(what: str) -> str:
    """A sheet with far too much of something."""
    bar = attributes() + note("C4", 4)
    grace = "<note><grace/><pitch><step>C</step><octave>4</octave></pitch><type>eighth</type></note>"
    slur = '<notations><slur type="start"/></notations></note>'
    sign = "<attributes><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
    loud = "<direction><direction-type><dynamics><f/></dynamics></direction-type></direction>"
    around = '<barline location="left"><repeat direction="forward"/></barline>'
    return {
        "grace notes": sheet([grace * 3000 + bar] * 8),
        "notes in a bar": sheet([attributes(divisions=100) + note("C4", 0.01, divisions=100) * 400]),
        "stacked notes": sheet([bar + note("C4", 4).replace("<note>", "<note><chord/>") * 400]),
        "notes": sheet([attributes() + note("C4", 0.25) * 16] + [note("C4", 0.25) * 16] * 800),
        "syllables": sheet([attributes() + note("C4", 1, "|".join(["la"] * 90)) * 4] * 80),
        "signs": sheet([sign * 1000 + bar] * 8),
        "repeats": sheet([attributes() + around + note("C4", 4) + REPEAT] * 500),
        "times round": sheet([bar + REPEAT.replace("/></bar", ' times="12"/></bar')] * 20),
        "slurs without end": sheet([attributes() + note("C4", 0.25).replace("</note>", slur) * 16] * 200),
        "dynamics": sheet([loud * 2000 + bar] * 8),
    }[what]


@pytest.mark.parametrize(
    ("what", "told"),
    [
        ("grace notes", "bar 1: 3001 notes in one bar"),
        ("notes in a bar", "bar 1: 400 notes in one bar"),
        ("stacked notes", "bar 1: 401 notes in one bar"),
        ("notes", "more than 4000 notes"),
        ("syllables", "more than 12000 syllables"),
        ("signs", "more than 2000 signs"),
        ("repeats", "more than 30 repeats"),
        ("times round", "more than 30 repeats"),
    ],
)
def test_what_would_take_minutes_is_counted_before_it_is_parsed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, what: str, told: str
) -> None:
    """A sentence, and music21 (made to fail here) never sees it. Grace notes came to a minute, repeats to more."""
    path = tmp_path / "a.musicxml"
    path.write_text(many(what), "utf-8")
    monkeypatch.setitem(sys.modules, "music21.musicxml.xmlToM21", None)
    with pytest.raises(BadInput, match=told) as caught:
        read_leadsheet(path)
    assert is_one_sentence(caught.value)


@pytest.mark.parametrize("what", ["slurs without end", "dynamics"])
def test_what_a_chart_does_not_hold_costs_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    """It is gone before music21 reads the tree: 8,000 slurs that never end took it 16 s."""
    from music21.musicxml.xmlToM21 import MusicXMLImporter

    seen: list[int] = []
    whole = MusicXMLImporter.xmlRootToScore

    def counted(importer: MusicXMLImporter, root: ET.Element, score: object) -> object:
        seen.append(sum(len(list(root.iter(tag))) for tag in ("slur", "dynamics")))
        return whole(importer, root, score)

    monkeypatch.setattr(MusicXMLImporter, "xmlRootToScore", counted)
    path = tmp_path / "a.musicxml"
    path.write_text(many(what), "utf-8")
    assert read_leadsheet(path).song.parts
    assert seen == [0]


@pytest.mark.parametrize("key", ["<key/>", "<key><mode>major</mode></key>",
                                 "<key><key-step>B</key-step><key-alter>-1</key-alter></key>"])  # fmt: skip
def test_a_key_without_fifths_is_no_key(tmp_path: Path, key: str) -> None:
    """MusicXML 4.0 lets a signature name its own steps; the chords then say the key."""
    path = tmp_path / "a.musicxml"
    bar = attributes(3) + harmony("F") + note("F4", 4)
    text = sheet([bar, harmony("C", "dominant") + note("C4", 4), harmony("F") + note("F4", 4)])
    path.write_text(re.sub("<key>.*?</key>", key, text), "utf-8")
    assert str(read_leadsheet(path).song.key) == "F"


WHOLE = sheet([attributes() + harmony("C") + note("C4", 4, "salt")], title="&secret;").partition("?>\n")[2]
WHOLE = WHOLE.partition(">\n")[2]  # without the document type either
DECLARED = {
    "entity": '<!DOCTYPE score-partwise [<!ENTITY secret SYSTEM "{uri}">]>',
    "document type": '<!DOCTYPE score-partwise SYSTEM "{uri}">',
    "document type by name": '<!DOCTYPE score-partwise PUBLIC "-//x//EN" "{uri}">',
    "parameter entity": '<!DOCTYPE score-partwise [<!ENTITY % more SYSTEM "{uri}"> %more;]>',
}


@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("over", ["file", "http"])
@pytest.mark.parametrize("how", DECLARED)
def test_nothing_outside_a_sheet_is_read(tmp_path: Path, how: str, over: str, packed: bool) -> None:
    """A file beside it and a server that counts who comes: neither is opened, by an entity or as a document type."""
    secret = tmp_path / "secret.dtd"
    secret.write_text('<!ENTITY secret "the heron flies at noon">', "utf-8")
    asked: list[str] = []

    class Counting(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        def log_message(self, *_: object) -> None:
            pass

    opened: list[str] = []
    watching = True
    sys.addaudithook(lambda event, args: opened.append(str(args[0])) if watching and event == "open" else None)
    with HTTPServer(("127.0.0.1", 0), Counting) as server:
        thread = Thread(target=server.serve_forever, args=(0.01,), daemon=True)
        thread.start()
        uri = secret.as_uri() if over == "file" else f"http://127.0.0.1:{server.server_port}/secret.dtd"
        text = '<?xml version="1.0"?>' + DECLARED[how].format(uri=uri) + WHOLE
        path = tmp_path / ("a.mxl" if packed else "a.musicxml")
        if packed:
            with zipfile.ZipFile(path, "w") as archive:
                archive.writestr("META-INF/container.xml", text.replace("score-partwise", "container"))
                archive.writestr("score.musicxml", text)
        else:
            path.write_text(text, "utf-8")
        with pytest.raises(BadInput) as caught:
            read_leadsheet(path)
        server.shutdown()
        thread.join(10)
    watching = False
    assert is_one_sentence(caught.value)
    assert "heron" not in str(caught.value)
    assert asked == []
    assert str(secret) not in opened
    assert str(path) in opened  # the watch itself works


def test_without_music21_one_sentence_says_how_to_get_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The extra's name stands in it."""
    monkeypatch.setitem(sys.modules, "music21", None)
    path = tmp_path / "a.musicxml"
    path.write_text(sheet([attributes() + note("C4", 4)]), "utf-8")
    with pytest.raises(CoachError, match=r"steady-thumb\[scores\]"):
        read_leadsheet(path)


FULL_SHEET = sheet(
    [
        attributes(1) + harmony("G") + note("G4", 1, "salt") + note("A4", 1, "o-") + note("B4", 2, "ver"),
        harmony("D", "dominant", "<bass><bass-step>F</bass-step><bass-alter>1</bass-alter></bass>") + note("A4", 4),
        harmony("G") + note("G4", 4) + REPEAT,
    ]
)


@examples(80)
@given(st.data())
def test_a_damaged_sheet_never_brings_it_down(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    """Pieces cut out, doubled or swapped: a song that can be written, or one sentence."""
    text = FULL_SHEET
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        end = min(len(text), at + data.draw(st.integers(0, 40)))
        put = data.draw(st.sampled_from(["", text[at:end] * 2, "<note/>", "-9", "99999999999", "x", "</note>", "0"]))
        text = text[:at] + put + text[end:]
    path = tmp_path_factory.mktemp("sheet") / "a.musicxml"
    path.write_text(text, "utf-8")
    assert sung_or_told(path)


def test_lengths_without_end_are_refused(tmp_path: Path) -> None:
    """A note of a thousand million beats, a meter of as many, a repeat of as often: told with the bar."""
    bar = attributes() + note("C4", 4) + REPEAT
    for one, other in (("16</duration>", "9999999999</duration>"), ("<beats>4", "<beats>99999999"),
                       ("direction=\"backward\"", "direction=\"backward\" times=\"9999999\"")):  # fmt: skip
        path = tmp_path / "a.musicxml"
        path.write_text(sheet([bar]).replace(one, other), "utf-8")
        with pytest.raises(BadInput, match="bar 1") as caught:
            read_leadsheet(path)
        assert is_one_sentence(caught.value)


NUMBERS = ["divisions", "duration", "fifths", "beats", "beat-type", "alter", "octave", "root-alter"]


@examples(80)
@given(tag=st.sampled_from(NUMBERS), value=st.sampled_from(["0", "-1", "1e9", "", "x", "7", "1/3", "2.5", "NaN", "99"]))
def test_odd_numbers_never_bring_it_down(tmp_path_factory: pytest.TempPathFactory, tag: str, value: str) -> None:
    """A number that cannot be in one of the places where the score has one."""
    before, _, rest = FULL_SHEET.partition(f"<{tag}>")
    text = f"{before}<{tag}>{value}</{tag}>{rest.partition(f'</{tag}>')[2]}"
    path = tmp_path_factory.mktemp("sheet") / "a.musicxml"
    path.write_text(text, "utf-8")
    assert sung_or_told(path)


def test_ids_are_made_of_file_names() -> None:
    """Small letters, digits and hyphens."""
    assert slug("The Last Boat (2).mxl".removesuffix(".mxl")) == "the-last-boat-2"
    assert slug("---") == "song"

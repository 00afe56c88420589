"""What is written in one bar of a song file: chords, words and tune as short lines of text, and back.

chords  `C D` share the bar equally; `C:3 D` gives C three beats and D what is left. N is no chord.
words   `salt on|the win-|dow`: each `|` goes on to the next beat; without one the words stand at the bar's start.
        A syllable that goes on ends in `-`. Where a beat has as many words as the tune has notes in it, each word
        stands at its note; `_` alone is a note on which the syllable before goes on. `Long a-|` is read by beats too.
tune    `D4 E4:1/2 -:1/2 +G4:2`: pitches with their length in beats, 1 where none is written; `-` is a rest, `+` goes on
        with the note before. The lengths make up the bar.
breath  A comma that stands alone (the trade's breath mark): after a note of the tune, or at the end of a beat's words.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache

from coach.errors import BadInput, BadMusic
from coach.music.chords import NO_CHORD, Chord
from coach.music.notes import Pitch
from coach.song.chart import TuneNote, Word

FINEST = 96
MOST_TEXT = 500
MOST_CHORDS = 16
# A song is read anew at every change, and all its bars but one are as before.
_KEPT = 4096

_LENGTH = re.compile(r"[0-9]{1,4}(?:/[0-9]{1,3})?|[0-9]{1,4}\.[0-9]{1,3}")

Placed = tuple[tuple[Fraction, Chord | None], ...]
Words = tuple[tuple[Word, ...], tuple[Fraction, ...]]
Tune = tuple[tuple[TuneNote, ...], tuple[Fraction, ...]]


def read_beats(text: str) -> Fraction:
    """A length in beats: `2`, `1/2`, `0.5`. Raises BadMusic; nothing is finer than a 96th of a beat."""
    if not _LENGTH.fullmatch(text) or text.endswith(("/0", "/00", "/000")):
        raise BadMusic(f"'{text}' is not a number of beats", mend="write beats like 2, 1/2 or 3/4")
    beats = Fraction(text)
    if FINEST % beats.denominator or not beats:
        raise BadMusic(f"{text} of a beat cannot be counted", mend="write beats like 2, 1/2 or 3/4")
    return beats


@lru_cache(maxsize=_KEPT)
def read_chords(text: str, beats: Fraction) -> Placed:
    """(beat, chord) of a bar that is `beats` long. Raises BadMusic."""
    symbols, lengths = [], list[Fraction | None]()
    for token in text.split():
        symbol, colon, length = token.partition(":")
        lengths.append(read_beats(length) if colon else None)
        symbols.append(None if symbol in NO_CHORD else Chord.parse(symbol))
    if not symbols:
        raise BadMusic("there is no chord", mend="write a chord, or N for none")
    if len(symbols) > MOST_CHORDS:
        raise BadMusic(f"{len(symbols)} chords are too many for one bar", mend=f"write {MOST_CHORDS} at most")
    given = sum((n for n in lengths if n is not None), Fraction(0))
    left, open_ones = beats - given, lengths.count(None)
    if left < 0 or (open_ones and not left) or (left and not open_ones):
        raise BadMusic(
            f"the chords last {given} beats and the bar {beats}", mend="let them fill the bar, like C:3 D for 3 and 1"
        )
    placed, at = list[tuple[Fraction, Chord | None]](), Fraction(0)
    for symbol_, length_ in zip(symbols, lengths, strict=True):
        placed.append((at, symbol_))
        at += left / open_ones if length_ is None else length_
    return tuple(placed)


def chords_text(chords: Sequence[tuple[Fraction, Chord | None]], beats: Fraction) -> str:
    """The text that `read_chords` makes these of; lengths only where the chords do not share the bar equally."""
    names = [str(chord) if chord else "N" for _, chord in chords]
    ends = [*(beat for beat, _ in chords[1:]), beats]
    lengths = [end - beat for (beat, _), end in zip(chords, ends, strict=True)]
    if len(set(lengths)) == 1:
        return " ".join(names)
    return " ".join(f"{name}:{length}" for name, length in zip(names, lengths, strict=True))


@lru_cache(maxsize=_KEPT)
def read_tune(text: str, beats: Fraction) -> Tune:
    """The notes of a bar that is `beats` long, and where one breathes. Raises BadMusic."""
    notes, breaths, at = list[TuneNote](), list[Fraction](), Fraction(0)
    for token in text.split():
        if token == ",":
            breaths.append(at)
            continue
        name, colon, written = token.partition(":")
        length = read_beats(written) if colon else Fraction(1)
        if name != "-":
            tied = name.startswith("+")
            pitch = Pitch.parse(name.removeprefix("+"))
            if tied and notes and (notes[-1].pitch != pitch or notes[-1].beat + notes[-1].length != at):
                raise BadMusic(
                    f"{token} goes on with a note that does not sound before it", mend=f"leave out the +, like {pitch}"
                )
            notes.append(TuneNote(at, length, pitch, tied))
        at += length
        if at > beats:
            break
    if at != beats and text.strip():
        much = "more than" if at > beats else f"{at} beats,"
        raise BadMusic(f"the tune has {much} the bar's {beats}", mend="let notes and rests (-) fill the bar")
    return tuple(notes), tuple(breaths)


def tune_text(notes: Sequence[TuneNote], beats: Fraction, breaths: Sequence[Fraction] = ()) -> str:
    """The text that `read_tune` makes these of; a breath inside a note is told after it."""
    tokens, at, left = list[str](), Fraction(0), sorted(breaths)

    def put(token: str, length: Fraction) -> None:
        nonlocal at
        tokens.append(token + ("" if length == 1 else f":{length}"))
        at += length
        while left and left[0] <= at:
            tokens.append(",")
            del left[0]

    for note in notes:
        if note.beat > at:
            put("-", note.beat - at)
        put(f"{'+' if note.tied else ''}{note.pitch}", note.length)
    if notes and at < beats:
        put("-", beats - at)
    return " ".join(tokens)


def read_words(text: str, beats: Fraction, tune: Sequence[TuneNote] = ()) -> Words:
    """The words of a bar with their beats, and where one breathes. Raises BadMusic."""
    return _read_words(text, beats, tuple(note.beat for note in tune if not note.tied))


@lru_cache(maxsize=_KEPT)
def _read_words(text: str, beats: Fraction, notes: tuple[Fraction, ...]) -> Words:
    if len(text) > MOST_TEXT:
        raise BadMusic("the words of this bar are too long", mend=f"keep to {MOST_TEXT} letters")
    cells = text.split("|")
    by_beat = len(cells) > 1
    while len(cells) > 1 and not cells[-1].strip():
        cells.pop()
    if len(cells) - 1 >= beats:
        raise BadMusic(
            f"there are words for {len(cells)} beats and the bar has {beats}", mend="leave out a | between the words"
        )
    words, breaths = list[Word](), list[Fraction]()
    for number, cell in enumerate(cells):
        tokens = [token for token in re.split(r"[ \t]+", cell) if token]
        if tokens[-1:] == [","]:
            tokens.pop()
            breaths.append(min(Fraction(number + 1), beats) if by_beat else beats)
        if "," in tokens:
            raise BadMusic(
                "a breath (a comma alone) stands between words", mend="put it last before a |, or into the tune"
            )
        starts = [at for at in notes if number <= at < number + 1]
        if by_beat and len(tokens) == len(starts):
            words += [Word(at, token) for at, token in zip(starts, tokens, strict=True) if token != "_"]
        elif kept := " ".join(token for token in tokens if token != "_"):
            words.append(Word(Fraction(number), kept))
    return tuple(words), tuple(breaths)


def words_text(words: Sequence[Word], beats: Fraction, tune: Sequence[TuneNote] = ()) -> str:
    """The text that `read_words` makes these of. A word that stands at no note is moved to the beat it falls in."""
    if not words:
        return ""
    cells = []
    for number in range(-(-beats // 1)):
        here = [w for w in words if number <= w.beat < number + 1]
        starts = [n.beat for n in tune if not n.tied and number <= n.beat < number + 1]
        spelled = {w.beat: _one_word(w.text) for w in here}
        if not starts or not set(spelled) <= set(starts) or list(spelled) == [Fraction(number)]:
            cell = " ".join(w.text for w in here)
            one_place = len(starts) != len(cell.split(" ")) or len(starts) == 1
            cells.append(cell if one_place or len(here) != 1 else _one_word(cell))
        else:
            cells.append(" ".join(spelled.get(at, "_") for at in starts))
    while cells and not cells[-1]:
        cells.pop()
    # A lone first cell that is more than one word on the first beat must be read beat by beat.
    places = len(words) > 1 or words[0].beat or "_" in (cells or [""])[0].split(" ")
    return "|".join(cells) + ("|" if len(cells) == 1 and places else "")


def _one_word(text: str) -> str:
    """Words sung on one note, kept together by the blank that does not part."""
    return "\u00a0".join(text.split(" "))


def where_sung(words: Sequence[Word], tune: Sequence[TuneNote]) -> tuple[Word, ...]:
    """The words that begin where no note of the tune does: they and the tune do not agree."""
    starts = {note.beat for note in tune if not note.tied}
    return tuple(word for word in words if word.beat not in starts)


def plain(error: BadInput) -> str:
    """What an error says, without its place."""
    return f"{error.what}; {error.mend}" if error.mend else error.what

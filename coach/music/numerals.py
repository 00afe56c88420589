"""Roman numerals of chords in a key, both ways: `I ii V7 V7/V bVII iv viiø7 I/3`.

    numeral       what it says
    I  ii         the degree of the key the root stands on; small where the third is minor
    bVII  #iv     flat and sharp are counted from the major scale of the tonic (Aldwell & Schachter's usage):
                  in A major F is bVI, though nothing in it is flat
    vii°  I+      diminished and augmented; `ø7` is the half-diminished seventh
    V7  IVmaj7    what follows is the quality as in a chord symbol: `7` is always the minor seventh, so that IV7 in
                  C is F7, and F major seventh is IVmaj7. An added sixth is `add6`, for a bare 6 means an inversion
                  elsewhere
    V7/V          the dominant of another chord of the key; only a major or minor triad can have one, and a bare
                  triad on the dominant of IV is simply I
    I/3  ii/7     a number after the stroke is the bass: the chord's own third or seventh, or where the chord has
                  none on that letter, the note of the key there; Am/G in C is vi/7, C/Bb is I/b7

In a minor key the degrees are those of the natural minor (III VI VII, as the textbooks write them; bIII bVI bVII are
read as the same), but a small vi or vii stands on the raised sixth or seventh: in A minor vii° is G#dim and bvii
would be Gm. `#` is counted from the natural minor there: #VI is F# major.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from coach.errors import BadMusic
from coach.music.chords import Chord
from coach.music.key_chords import DOMINANT, dominant_target, role_in_key
from coach.music.keys import MAJOR_SCALE, MINOR_SCALE, Key, interval_between
from coach.music.notes import Note
from coach.music.qualities import QUALITIES, read_quality

ROMAN = ("I", "II", "III", "IV", "V", "VI", "VII")
NONE = "N"

# What follows the Roman figure, for the qualities that do not just repeat their symbol.
_SUFFIXES = {
    "dim": "°",
    "dim7": "°7",
    "m7b5": "ø7",
    "aug": "+",
    "6": "add6",
    "m6": "add6",
    "6/9": "69",
    "m6/9": "69",
    "m(maj7)": "maj7",
}
_SMALL = {quality for quality in QUALITIES if quality.startswith(("m", "dim")) and not quality.startswith("maj")}
_OTHER_SIGNS = str.maketrans({"º": "°", "Ø": "ø", "♭": "b", "♯": "#"})

_HEAD = re.compile(r"(b{0,4}|#{0,4})(VII|VI|V|IV|III|II|I|vii|vi|v|iv|iii|ii|i)(?![IVXivx])(.*)")
_BASS = re.compile(r"(b{0,4}|#{0,4})([1-7])")
_FIGURES = re.compile(r"(°|ø|)(6|64|65|43|42)")


def _suffix(quality: str) -> str:
    own = _SUFFIXES.get(quality)
    if own is not None:
        return own
    return quality.removeprefix("m") if quality in _SMALL else quality


_QUALITY_OF = {(quality in _SMALL, _suffix(quality)): quality for quality in QUALITIES}


@dataclass(frozen=True)
class Degree:
    """A place in a key: `step` 0..6 for the first to the seventh degree, `alter` from the major scale of the tonic."""

    step: int
    alter: int

    @classmethod
    def of(cls, note: Note, key: Key) -> Degree:
        """Where `note` stands in `key`."""
        step, semitones = interval_between(key.tonic, note)
        return cls(step, semitones - MAJOR_SCALE[step])

    def note(self, key: Key) -> Note:
        """The note of `key` there."""
        return key.tonic.up(self.step, MAJOR_SCALE[self.step] + self.alter)


def _scale_alter(step: int, minor: bool) -> int:
    """How a degree of the key's own scale differs from the major scale: -1 on the third, sixth, seventh of minor."""
    return MINOR_SCALE[step] - MAJOR_SCALE[step] if minor else 0


def _unsigned_alter(step: int, minor: bool, small: bool) -> int:
    """The alteration that is meant where a numeral has no sign: small vi and vii of minor are raised."""
    return 0 if small and step in (5, 6) else _scale_alter(step, minor)


def _roman_figure(degree: Degree, minor: bool, small: bool) -> str:
    """The Roman figure with the signs it needs."""
    figure = ROMAN[degree.step].lower() if small else ROMAN[degree.step]
    if degree.alter == _unsigned_alter(degree.step, minor, small):
        return figure
    if degree.alter < 0:
        return "b" * -degree.alter + figure
    return "#" * (degree.alter - _scale_alter(degree.step, minor)) + figure


# Chord to numeral -----------------------------------------------------------------------------


def numeral(chord: Chord | None, key: Key) -> str:
    """The numeral of `chord` in `key`, `N` for no chord."""
    if chord is None:
        return NONE
    bass = "" if chord.bass is None else "/" + _bass_text(chord, chord.bass, key)
    return (_dominant_numeral(chord, key) or _plain_numeral(chord, key)) + bass


def numerals(chords: Sequence[Chord | None], key: Key) -> tuple[str, ...]:
    """The numerals of a progression."""
    return tuple(numeral(chord, key) for chord in chords)


def _plain_numeral(chord: Chord, key: Key) -> str:
    small = chord.quality in _SMALL
    return _roman_figure(Degree.of(chord.root, key), key.minor, small) + _suffix(chord.quality)


def _dominant_numeral(chord: Chord, key: Key) -> str:
    """The numeral as the dominant of another chord, "" where the chord has a plainer name.

    A chord of the key or of its parallel keeps its plain name: C in C is I, not V/IV.
    """
    if role_in_key(chord, key) != DOMINANT:
        return ""
    target = dominant_target(chord, key)
    return f"V{chord.quality}/{_plain_numeral(target, key)}" if target else ""


def _bass_text(chord: Chord, bass: Note, key: Key) -> str:
    reference = _bass_reference((bass.step - chord.root.step) % 7, chord, key)
    off = bass.alter - reference.alter
    return ("#" * off if off > 0 else "b" * -off) + str((bass.step - chord.root.step) % 7 + 1)


def _bass_reference(steps: int, chord: Chord, key: Key) -> Note:
    """The note that a bare bass number means: the chord's own on that letter, or else the key's."""
    own = (tone for tone in chord.tones if (tone.step - chord.root.step) % 7 == steps)
    own_tone = next(own, None)
    return own_tone or next(note for note in key.scale if (note.step - chord.root.step) % 7 == steps)


# Numeral to chord -----------------------------------------------------------------------------


def chord_of(text: str, key: Key) -> Chord | None:
    """The chord that a numeral stands for in `key`, None for `N`. Raises BadMusic."""
    if text.strip() == NONE:
        return None
    head, *rest = text.strip().translate(_OTHER_SIGNS).split("/")
    bass = rest.pop() if rest and _BASS.fullmatch(rest[-1]) else None
    local = key
    for part in reversed(rest):
        local = _temporary_key(part, local, text)
    chord = _read_head(head, local, text)
    if bass is None:
        return chord
    signs, number = _groups(_BASS.fullmatch(bass))
    note = _bass_reference(int(number) - 1, chord, key)
    return Chord(chord.root, chord.quality, Note(note.step, note.alter + signs.count("#") - signs.count("b")))


def _groups(match: re.Match[str] | None) -> tuple[str, ...]:
    assert match is not None
    return match.groups()


def _temporary_key(part: str, key: Key, text: str) -> Key:
    """The key in which a chord's own dominant is read. Raises BadMusic where it cannot have one."""
    target = _read_head(part, key, text)
    if target.quality not in ("", "m"):
        raise BadMusic(
            f"'{text}': {part} cannot have a dominant of its own", mend="only a major or minor triad can, as in V7/ii"
        )
    return Key(target.root, target.quality == "m")


def _read_head(head: str, key: Key, text: str) -> Chord:
    match = _HEAD.fullmatch(head)
    if match is None:
        raise BadMusic(f"'{text}' is not a numeral", mend="write one like I, ii, V7, bVII, vii°, V7/V or I/3")
    signs, figure, suffix = match.groups()
    suffix = re.sub("^o", "°", suffix)
    small = figure.islower()
    quality = _read_suffix(suffix, small)
    if quality is None:
        raise _unknown_suffix(text, figure, suffix)
    # In viio and viiø the figure is small as a matter of course; where it is not, the sign decides.
    small = quality in _SMALL
    step = ROMAN.index(figure.upper())
    if not signs:
        alter = _unsigned_alter(step, key.minor, small)
    elif signs[0] == "b":
        alter = -len(signs)
    else:
        alter = _scale_alter(step, key.minor) + len(signs)
    return Chord(Degree(step, alter).note(key), quality)


def _read_suffix(suffix: str, small: bool) -> str | None:
    """The quality that the suffix of a figure stands for."""
    if _FIGURES.fullmatch(suffix):
        return None
    quality = _QUALITY_OF.get((small, suffix))
    if quality is not None:
        return quality
    if small and suffix[:1] not in ("°", "ø", "m", "d", "h"):
        suffix = "m" + suffix
    return read_quality(suffix)


def _unknown_suffix(text: str, figure: str, suffix: str) -> BadMusic:
    if _FIGURES.fullmatch(suffix):
        return BadMusic(
            f"'{text}': the figures of an inversion are not read",
            mend=f"write the bass instead, as {figure}/3, {figure}/5 or {figure}7/7; {figure}add6 is an added sixth",
        )
    return BadMusic(f"'{text}' has an unknown ending '{suffix}'", mend=f"try plain {figure}, or {figure}7")

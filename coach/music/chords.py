"""Chord symbols and their tones: `C Am F/C Bbmaj7 D7 Cadd9 Dsus4 D/F# C6/9 Am(maj7) N`."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass

from coach.errors import BadMusic
from coach.music.notes import LETTERS, Note
from coach.music.qualities import FIFTH as FIFTH
from coach.music.qualities import QUALITIES as QUALITIES
from coach.music.qualities import Interval as Interval
from coach.music.qualities import read_quality

NO_CHORD = ("N", "NC", "N.C.")

# More than two accidentals nobody writes, but an exact move between two far keys may bring a strange root that far.
_NOTE = r"[A-G](?:[#♯]{1,4}|[b♭]{1,4}|)"
_SYMBOL = re.compile(rf"({_NOTE})([^/]*6/9[^/]*|[^/]*)(?:/(.+))?")


@dataclass(frozen=True)
class Chord:
    """A chord: `root`, `quality` (a key of QUALITIES) and the bass note where it is not the root."""

    root: Note
    quality: str = ""
    bass: Note | None = None

    @property
    def tones(self) -> tuple[Note, ...]:
        """The chord's tones from the root up, spelled; a foreign bass note is not among them."""
        return tuple(self.root.up(steps, semitones) for steps, semitones in QUALITIES[self.quality])

    @property
    def lowest(self) -> Note:
        """The note wanted in the bass."""
        return self.bass or self.root

    @property
    def fifth(self) -> Note:
        """The chord's fifth as it stands in it (flat in a diminished, sharp in an augmented chord)."""
        steps, semitones = next((i for i in QUALITIES[self.quality] if i[0] == 4), FIFTH)
        return self.root.up(steps, semitones)

    def __str__(self) -> str:
        return f"{self.root}{self.quality}" + (f"/{self.bass}" if self.bass else "")

    @classmethod
    def parse(cls, text: str) -> Chord:
        """Read a chord symbol in any of its usual spellings. Raises BadMusic that names the nearest one understood."""
        match = _SYMBOL.fullmatch(text.strip())
        if match is None:
            raise BadMusic(f"'{text}' is not a chord", mend=_root_hint(text.strip()))
        root, written, bass = match.groups()
        quality = read_quality(written)
        if quality is None:
            near = difflib.get_close_matches(written, QUALITIES, n=1, cutoff=0.3)
            hint = f"did you mean {root}{near[0]}?" if near else f"try plain {root}"
            raise BadMusic(f"'{text}' is not a chord known here", mend=hint)
        if bass is not None and not re.fullmatch(_NOTE, bass):
            raise BadMusic(
                f"'{text}' has no note after the slash", mend=f"write the bass as a note, like {root}{quality}/E"
            )
        return cls(_read_note(root), quality, _read_note(bass) if bass else None)


def _read_note(text: str) -> Note:
    """A note that matches the pattern above."""
    return Note(LETTERS.index(text[0]), sum(1 if sign in "#♯" else -1 for sign in text[1:]))


def _root_hint(text: str) -> str:
    """How a word that does not begin with a note might have been meant."""
    raised = text[:1].upper() + text[1:]
    if text[:1].islower() and (match := _SYMBOL.fullmatch(raised)) and read_quality(match[2]) is not None:
        return f"did you mean {raised}?"
    return "write a symbol like C, Am, F#m7, D/F# or N for no chord"


def read_bars(text: str) -> tuple[tuple[Chord | None, ...], ...]:
    """Read `"C | F G | C"`: bars parted by `|`, the chords of a bar by blanks; N (None) is no chord.

    Raises BadMusic with the bar's number (from 1) on an empty bar or an unknown chord.
    """
    bars: list[tuple[Chord | None, ...]] = []
    for number, bar in enumerate(text.strip().strip("|").split("|"), start=1):
        symbols = bar.split()
        if not symbols:
            raise BadMusic("there is no chord", where=f"bar {number}", mend="write a chord, or N for none")
        try:
            bars.append(tuple(None if s in NO_CHORD else Chord.parse(s) for s in symbols))
        except BadMusic as error:
            raise error.at(f"bar {number}") from None
    return tuple(bars)

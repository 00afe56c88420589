"""Tunings: the sounding pitch of each open string, string 6 (lowest) first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coach.errors import BadMusic, BadShape
from coach.music.notes import Pitch

STRINGS = (6, 5, 4, 3, 2, 1)


@dataclass(frozen=True)
class Tuning:
    """Six open pitches, string 6 to string 1."""

    title: str
    pitches: tuple[Pitch, ...]

    def open_midi(self, string: int) -> int:
        """MIDI number of the open string `string` (6..1)."""
        return self.pitches[6 - string].midi

    def __str__(self) -> str:
        return " ".join(str(p) for p in self.pitches)

    @classmethod
    def of(cls, names: Sequence[str] | str, title: str = "") -> Tuning:
        """A tuning from six pitch names, string 6 first: `"D2 A2 D3 G3 A3 D4"`. Raises BadShape."""
        words = names.replace(",", " ").split() if isinstance(names, str) else list(names)
        if len(words) != 6:
            raise BadShape(
                f"a tuning needs six pitches and this one has {len(words)}",
                mend="write them string 6 first, like 'D2 A2 D3 G3 B3 E4'",
            )
        try:
            return cls(title or " ".join(words), tuple(Pitch.parse(w) for w in words))
        except BadMusic as error:
            raise BadShape(error.what, where="tuning", mend=error.mend) from None


STANDARD = Tuning.of("E2 A2 D3 G3 B3 E4", "Standard")

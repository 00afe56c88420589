"""The trade's open shapes, read from the project's shared data, and closed forms slid up the neck."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coach.errors import BadShape
from coach.guitar.shape import Shape
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.chords import QUALITIES, Chord
from coach.music.notes import Note


@dataclass(frozen=True)
class ShapeBook:
    """Open shapes by chord symbol (the usual one first), and forms that slide: (form, root string) by quality."""

    open: Mapping[str, tuple[Shape, ...]]
    slides: Mapping[str, tuple[tuple[Shape, int], ...]]

    def shapes(self, chord: Chord, tuning: Tuning = STANDARD) -> tuple[Shape, ...]:
        """Shapes for `chord`, best first. Raises BadShape when none is known in this tuning."""
        if not _has_standard_intervals(tuning):
            raise BadShape(
                f"no shape for {chord} is known in the tuning {tuning.title}",
                mend=f"give one yourself, like {chord}=x32010",
            )
        named = self.open.get(str(chord)) or self.open.get(_plain_name(chord)) or ()
        known = (*named, *self._slide_forms(chord, at_nut=not named))
        if not known:
            raise BadShape(f"no shape for {chord} is known", mend=f"give one yourself, like {chord}=x32010")
        return known

    def _slide_forms(self, chord: Chord, *, at_nut: bool) -> tuple[Shape, ...]:
        """Closed forms at the fret where their root sounds, lowest on the neck first; at the nut only if asked."""
        if chord.bass is not None and chord.bass != chord.root:
            return ()
        slid = []
        for form, root_string in self.slides.get(chord.quality, ()):
            up = (chord.root.pitch_class - STANDARD.open_midi(root_string)) % 12
            if up or at_nut:
                slid.append((up, _move_form(form, up)))
        return tuple(shape for _, shape in sorted(slid, key=lambda pair: pair[0]))


def _move_form(form: Shape, up: int) -> Shape:
    """The form `up` frets higher; at the nut the strings it barred are open and need no finger."""
    frets = tuple(None if f is None else f + up for f in form.frets)
    return Shape(frets, "".join(c if f else "." for c, f in zip(form.fingers, frets, strict=True)))


def _has_standard_intervals(tuning: Tuning) -> bool:
    """Shapes serve any tuning whose strings lie as far apart as in standard (half a step down, say)."""
    return len({a.midi - b.midi for a, b in zip(tuning.pitches, STANDARD.pitches, strict=True)}) == 1


def _plain_name(chord: Chord) -> str:
    """The name under which an open shape would stand if the root were spelled the other way (A#m as Bbm)."""
    for step in range(7):
        for alter in (-1, 0, 1):
            other = Note(step, alter)
            if other != chord.root and other.pitch_class == chord.root.pitch_class:
                return str(Chord(other, chord.quality, chord.bass))
    return str(chord)


def make_shape_book(data: Mapping[str, Any]) -> ShapeBook:
    """A ShapeBook from the parsed shared/shapes.toml."""
    opened = {
        name: tuple(Shape.parse(s["shape"], s["fingers"]) for s in shapes) for name, shapes in data["shapes"].items()
    }
    slides: dict[str, list[tuple[Shape, int]]] = {q: [] for q in QUALITIES}
    for name, row in data["slides"].items():
        slides[Chord.parse(name).quality].append((Shape.parse(row["shape"], row["fingers"]), row["root_string"]))
    return ShapeBook(opened, {q: tuple(forms) for q, forms in slides.items()})


def read_shape_book(path: Path) -> ShapeBook:
    """Read the project's shapes file."""
    return make_shape_book(tomllib.loads(path.read_text("utf-8")))


def read_tunings(path: Path) -> dict[str, Tuning]:
    """Read the project's tunings file: id -> Tuning."""
    rows = tomllib.loads(path.read_text("utf-8"))
    return {name: Tuning.of(row["strings"], row["title"]) for name, row in rows.items()}


def read_pinned_shapes(text: str) -> dict[str, Shape]:
    """Read `"C=x32010,F=xx3211"`: chord symbol -> Shape. Raises BadShape or BadMusic."""
    pins: dict[str, Shape] = {}
    for item in filter(None, (part.strip() for part in text.split(","))):
        name, equals, shape = item.partition("=")
        if not equals:
            raise BadShape(f"'{item}' pins no shape", mend="write CHORD=SHAPE, like C=x32010,F=xx3211")
        pins[str(Chord.parse(name))] = Shape.parse(shape)
    return pins

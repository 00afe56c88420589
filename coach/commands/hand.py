"""The options that say whose hand and which guitar: stretch, thumb, barres, capo, tuning, highest fret."""

from __future__ import annotations

import difflib
from argparse import ArgumentParser, Namespace
from dataclasses import replace

from coach import places, shelf
from coach.commands.answers import note
from coach.commands.arguments import decimal, whole
from coach.errors import BadInput, BadMusic
from coach.guitar.grip import Hand
from coach.guitar.neck import Neck
from coach.guitar.open_shapes import read_tunings
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.notes import Pitch, read_range
from coach.settings import BARRES, read_settings

MOST_SPAN_FRETS = 9


def add_hand(parser: ArgumentParser) -> None:
    """The options; what is not given comes from the player's settings."""
    parser.add_argument(
        "--span", metavar="N", help="longest stretch: up to 9 counts frets, above that millimetres (usual: 95 mm)"
    )
    parser.add_argument("--thumb", action="store_true", help="the thumb comes over the neck")
    parser.add_argument("--barres", metavar="B", help="welcome barres: full, small or none (usual: full)")
    parser.add_argument("--tuning", metavar="T", default="standard", help="its name, or six pitches from string 6")


def hand_given(args: Namespace) -> Hand:
    """The hand of the settings, changed by the options. Raises BadInput."""
    found = read_settings(places.settings())
    for problem in found.problems:
        note(problem)
    hand = shelf.hand_of(found.settings)
    if args.thumb:
        hand = replace(hand, thumb=True)
    if args.barres is not None:
        if args.barres not in BARRES:
            raise BadInput(f"--barres '{args.barres}' cannot be", mend="use one of " + ", ".join(BARRES))
        hand = replace(hand, barres=args.barres)
    if args.span is not None:
        span = decimal(args.span, "--span", "1", "200")
        if span > MOST_SPAN_FRETS:
            hand = replace(hand, span_mm=float(decimal(args.span, "--span", "40", "200")))
        else:
            frets = whole(args.span, "--span", 1, MOST_SPAN_FRETS)
            # Who asks for so many frets has them at the nut as well, where they are widest.
            reach = max(hand.span_mm, Neck(hand.scale_mm).stretch_mm(1, frets))
            hand = replace(hand, span_frets=frets, span_mm=reach)
    return hand


def tuning_given(text: str) -> Tuning:
    """A tuning by its name, or as six pitches. Raises BadShape or BadInput that names the nearest."""
    known = read_tunings(places.shipped("shared") / "tunings.toml")
    name = text.strip().lower().replace(" ", "-")
    if name in known:
        return known[name]
    if len(text.replace(",", " ").split()) > 1:
        try:
            return Tuning.of(text)
        except BadInput as error:
            raise error.at("--tuning") from None
    near = difflib.get_close_matches(name, known, n=1)
    hint = f"did you mean {near[0]}?" if near else f"use one of {', '.join(known)}, or six pitches like '{STANDARD}'"
    raise BadInput(f"'{text}' is not a tuning known here", where="--tuning", mend=hint)


def range_given(text: str, option: str) -> tuple[Pitch, Pitch]:
    """Two pitches, the lower first: `A2-D4`. Raises BadMusic."""
    try:
        return read_range(text)
    except BadMusic as error:
        raise error.at(option) from None

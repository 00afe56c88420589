"""Numbers of a score that would run without end: looked at before anything is made of them."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from fractions import Fraction

from coach.errors import BadInput
from coach.song.leadsheet.chord_symbols_in import number_of

LONGEST_BAR = 64  # quarter notes
MOST_DIVISIONS = 100_000
MOST_TIMES = 12
_METER = re.compile(r"[1-9][0-9]?( *\+ *[1-9][0-9]?){0,5}")
_LOWER = ("1", "2", "4", "8", "16", "32", "64")


def check_lengths(measures: Sequence[ET.Element]) -> None:
    """Raises BadInput, with the bar, for lengths, meters and repeats that no sheet has."""
    divisions = Fraction(1)
    for number, measure in enumerate(measures, start=1):
        try:
            divisions = _checked(measure, divisions)
        except BadInput as error:
            raise error.at(f"bar {number}") from None


def _checked(measure: ET.Element, divisions: Fraction) -> Fraction:
    length = Fraction(0)
    for element in measure:
        for told in element.findall("divisions") if element.tag == "attributes" else ():
            divisions = number_of(told.text)
            if not 0 < divisions <= MOST_DIVISIONS:
                raise _odd("its divisions of a quarter note", told.text)
        for time in element.findall("time") if element.tag == "attributes" else ():
            _meter(time)
        if element.tag in ("note", "forward", "backup"):
            told_length = element.find("duration")
            quarters = number_of(None if told_length is None else told_length.text) / divisions
            needed = element.tag != "note" or element.find("grace") is None
            if needed and not 0 < quarters <= LONGEST_BAR:
                raise _odd("a length in it", None if told_length is None else told_length.text)
            length += quarters if element.find("chord") is None else 0
        for repeat in element.findall("repeat") if element.tag == "barline" else ():
            if not 0 < number_of(repeat.get("times", "2")) <= MOST_TIMES:
                raise _odd("its repeat", repeat.get("times"))
    if length > 4 * LONGEST_BAR:
        raise BadInput("this bar is without end", mend="export the voice alone")
    return divisions


def _meter(time: ET.Element) -> None:
    for what in time.findall("beats"):
        if not _METER.fullmatch((what.text or "").strip()):
            raise _odd("its meter", what.text)
    for what in time.findall("beat-type"):
        if (what.text or "").strip() not in _LOWER:
            raise _odd("its meter", what.text)


def _odd(what: str, found: str | None) -> BadInput:
    return BadInput(f"{what} cannot be '{(found or '').strip()[:20]}'", mend="export the sheet once more")

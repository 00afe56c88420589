"""Repeat signs as they are meant: a section that ends in one begins where the repeated section before it ended.

Sheets and tune books often leave out the sign at a section's beginning. Taken at their word all but the first of them
would go back to the very beginning of the tune (common practice, no source).
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence


def with_beginnings(measures: Sequence[ET.Element]) -> int:
    """Put the missing signs into these measures of a MusicXML part; how many there were."""
    missing = 0
    begin = 0  # where a section would begin, 0 for the beginning of all, where no sign is needed
    for number, measure in enumerate(measures):
        if measure.find("barline/repeat[@direction='forward']") is not None:
            begin = 0
        if measure.find("barline/repeat[@direction='backward']") is not None:
            if begin:
                _put(measures[begin])
                missing += 1
            # What is repeated with endings ends with the last of them.
            begin = 0 if _ending(measure) == 1 else number + 1
        elif _ending(measure) > 1:
            begin = number + 1
    return missing


def _ending(measure: ET.Element) -> int:
    """The ending that closes with this measure, 0 for none; one for several times round counts as the first."""
    for sign in measure.findall("barline/ending"):
        number = (sign.get("number") or "").split(",")[0].strip()
        if sign.get("type") in ("stop", "discontinue") and number.isdecimal() and len(number) < 3:
            return int(number)
    return 0


def _put(measure: ET.Element) -> None:
    line = next((b for b in measure.findall("barline") if b.get("location") == "left"), None)
    if line is None:
        line = ET.Element("barline", {"location": "left"})
        measure.insert(0, line)
    ET.SubElement(line, "repeat", {"direction": "forward"})

"""A MusicXML file as a checked tree, with repeat signs it leaves out: nothing outside the file is ever fetched.

A plain file is XML text; a packed one (`.mxl`) is a zip archive whose container names the score. Before a tree is
built the text is walked once: entities of its own (which could grow without end) and nesting without end are refused.
The document type that MusicXML files name is not fetched: expat reads no outside text by itself.
"""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Sequence
from pathlib import Path
from xml.parsers import expat

from coach.errors import BadInput

LARGEST_FILE = 8 * 1024 * 1024
LARGEST_SCORE = 16 * 1024 * 1024  # unpacked
MOST_MEMBERS = 64
DEEPEST = 40
MOST_ELEMENTS = 400_000
CONTAINER = "META-INF/container.xml"


def sheet_tree(path: Path) -> ET.Element:
    """The root of the score in `path`, a score-partwise. Raises BadInput in one sentence for anything else."""
    try:
        return _tree(_score(_bytes(path)))
    except BadInput as error:
        raise error.at(path.name) from None


def _bytes(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise BadInput("this is a folder", mend="give the path of a .musicxml or .mxl file")
        if path.exists() and not path.is_file():
            raise BadInput("this is not an ordinary file", mend="give the path of a .musicxml or .mxl file")
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadInput(f"cannot be read ({reason})", mend="check the path") from None
    if len(raw) > LARGEST_FILE:
        raise _too_big()
    return raw


def _too_big() -> BadInput:
    return BadInput("this is far larger than a lead sheet", mend="export the voice alone, with its chords and words")


def _score(raw: bytes) -> bytes:
    """The XML text: the file itself, or what the archive's container names."""
    if not raw.startswith(b"PK"):
        return raw
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as packed:
            if len(packed.infolist()) > MOST_MEMBERS:
                raise _too_big()
            return _member(packed, _named(packed))
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, KeyError, ValueError, OSError):
        raise BadInput("this archive is broken or locked", mend="export the sheet once more, as .musicxml") from None
    except Exception as error:  # a member's own decoder (zlib, lzma) has errors of its own
        if isinstance(error, BadInput):
            raise
        raise BadInput("this archive is broken", mend="export the sheet once more, as .musicxml") from None


def _named(packed: zipfile.ZipFile) -> str:
    """The member that is the score."""
    names = packed.namelist()
    if CONTAINER in names:
        for element in _checked(_member(packed, CONTAINER)).iter():
            if element.tag.rpartition("}")[2] == "rootfile" and element.get("full-path") in names:
                return str(element.get("full-path"))
    for name in names:
        if name.endswith((".musicxml", ".xml")) and not name.startswith("META-INF"):
            return name
    raise BadInput("there is no score in this archive", mend="export the sheet once more, as .musicxml")


def _member(packed: zipfile.ZipFile, name: str) -> bytes:
    # What the archive says of a member's size may be a lie: read no more than is allowed.
    with packed.open(name) as member:
        text = member.read(LARGEST_SCORE + 1)
    if len(text) > LARGEST_SCORE:
        raise _too_big()
    return text


def _checked(text: bytes) -> ET.Element:
    """The tree of `text`. Raises BadInput for broken, hostile or endless XML."""
    walker = expat.ParserCreate()
    depth = count = 0

    def entity(*_: object) -> None:
        raise BadInput("it declares entities of its own, which no score needs", mend="export the sheet once more")

    def start(*_: object) -> None:
        nonlocal depth, count
        depth, count = depth + 1, count + 1
        if depth > DEEPEST:
            raise BadInput("its elements are nested without end", mend="export the sheet once more")
        if count > MOST_ELEMENTS:
            raise _too_big()

    def end(*_: object) -> None:
        nonlocal depth
        depth -= 1

    walker.EntityDeclHandler = entity
    walker.StartElementHandler = start
    walker.EndElementHandler = end
    try:
        walker.Parse(text, True)
        return ET.fromstring(text)
    except expat.ExpatError as error:
        raise BadInput(
            f"this is not MusicXML ({expat.ErrorString(error.code)})", where=f"line {error.lineno}",
            mend="give a lead sheet exported as .musicxml or .mxl",
        ) from None  # fmt: skip
    except (ET.ParseError, LookupError, ValueError):  # an encoding that Python does not know, or one of several bytes
        raise BadInput("this is not MusicXML", mend="give a lead sheet exported as .musicxml or .mxl") from None


def _tree(text: bytes) -> ET.Element:
    root = _checked(text)
    if root.tag == "score-timewise":
        raise BadInput("this score is written bar by bar through all parts", mend="export it as score-partwise")
    if root.tag != "score-partwise":
        raise BadInput(
            f"this is XML but not a score (it begins with <{root.tag[:40]}>)",
            mend="give a lead sheet exported as .musicxml or .mxl",
        )
    return root


def add_missing_repeat_starts(measures: Sequence[ET.Element]) -> int:
    """Put the missing forward repeat signs into these measures of a MusicXML part; how many there were.

    Sheets and tune books often leave out the sign at a section's beginning. Taken at their word all but the first of
    them would go back to the very beginning of the tune (common practice, no source).
    """
    missing = 0
    begin = 0  # where a section would begin, 0 for the beginning of all, where no sign is needed
    for number, measure in enumerate(measures):
        if measure.find("barline/repeat[@direction='forward']") is not None:
            begin = 0
        if measure.find("barline/repeat[@direction='backward']") is not None:
            if begin:
                _put_repeat_sign(measures[begin])
                missing += 1
            # What is repeated with endings ends with the last of them.
            begin = 0 if _closed_ending(measure) == 1 else number + 1
        elif _closed_ending(measure) > 1:
            begin = number + 1
    return missing


def _closed_ending(measure: ET.Element) -> int:
    """The ending that closes with this measure, 0 for none; one for several times round counts as the first."""
    for sign in measure.findall("barline/ending"):
        number = (sign.get("number") or "").split(",")[0].strip()
        if sign.get("type") in ("stop", "discontinue") and number.isdecimal() and len(number) < 3:
            return int(number)
    return 0


def _put_repeat_sign(measure: ET.Element) -> None:
    line = next((b for b in measure.findall("barline") if b.get("location") == "left"), None)
    if line is None:
        line = ET.Element("barline", {"location": "left"})
        measure.insert(0, line)
    ET.SubElement(line, "repeat", {"direction": "forward"})

"""A pack: one zip with what a student needs of a song or pattern; the same contents always give the same bytes.

    README.txt              what is in it, and the cautions
    patterns/ID.toml        every pattern that is played
    songs/ID.song.toml      the song
    sheets/ID.pdf, ID.txt   the handout
    tracks/ID-70.flac       practice tracks, the number being the share of the tempo in per cent
"""

from __future__ import annotations

import re
import shutil
import unicodedata
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import BinaryIO

from coach.errors import BadInput

README = "README.txt"
# folder -> the endings of what it may hold, longest first
FOLDERS = {
    "patterns": (".toml",),
    "songs": (".song.toml",),
    "sheets": (".musicxml", ".pdf", ".txt", ".mid"),
    "tracks": (".flac", ".wav", ".ogg"),
}
LIBRARY = ("patterns", "songs")  # what goes into the player's own folders
LONGEST_NAME = 100
# Names that are devices on some system, whatever follows the first point (Microsoft, "Naming Files"; from memory).
DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in "0123456789¹²³")}
_STEM = re.compile(r"\w[\w .,'()&+-]*")
_OLDEST = (1980, 1, 1, 0, 0, 0)  # the earliest time a zip can hold
_SQUEEZED = (".txt", ".toml", ".musicxml", ".mid")

Contents = bytes | Path


def check_name(name: str) -> None:
    """Raise BadInput, saying why, unless `name` is one that a pack may hold on every system."""
    reason = _name_problem(name)
    if reason:
        raise BadInput(
            f"{printable_name(name)} {reason}",
            mend="a pack holds README.txt and plain files in " + ", ".join(FOLDERS),
        )


def printable_name(name: str) -> str:
    """A name from a stranger as it can be printed: no control signs, not endless."""
    plain = "".join(c if c.isprintable() else "?" for c in name[:60])
    return f"'{plain}'" + ("..." if len(name) > 60 else "")


def comparable_name(name: str) -> str:
    """What two names share that some system takes for one file: case and composed letters do not count."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def _name_problem(name: str) -> str:
    if name == README:
        return ""
    if len(name) > LONGEST_NAME:
        return "is too long a name"
    if "\\" in name:
        return "has a backslash in its name"
    if name.startswith("/") or re.match(r"[A-Za-z]:", name):
        return "leads to a place outside the pack"
    folders, _, last = name.rpartition("/")
    if ".." in name.split("/"):
        return "leads out of the pack"
    if folders not in FOLDERS:
        return "does not belong in a pack"
    ending = next((e for e in FOLDERS[folders] if last.lower().endswith(e)), None)
    if ending is None or (folders == "patterns" and last.lower().endswith(".song.toml")):
        return "is not a kind of file that a pack holds there"
    stem = last[: -len(ending)]
    if last.split(".")[0].strip().casefold() in DEVICES:
        return "is the name of a device on some systems"
    plain = _STEM.fullmatch(unicodedata.normalize("NFC", stem)) and last.endswith(ending)
    if not plain or stem.endswith((" ", ".")):
        return "has signs in its name that some systems do not allow"
    return ""


def write_pack(out: BinaryIO, contents: Mapping[str, Contents]) -> int:
    """Write a zip of the contents, name -> bytes or the file that holds them; returns how many files.

    Order, times and rights are always the same, so the same contents make the same pack. Raises BadInput for a name
    that a pack cannot hold, OSError as files do.
    """
    for name in contents:
        check_name(name)
    with zipfile.ZipFile(out, "w") as pack:
        for name in sorted(contents, key=lambda n: (n != README, n)):
            info = zipfile.ZipInfo(name, _OLDEST)
            info.create_system = 3
            info.external_attr = 0o100644 << 16
            info.compress_type = zipfile.ZIP_DEFLATED if name.endswith(_SQUEEZED) else zipfile.ZIP_STORED
            held = contents[name]
            if isinstance(held, bytes):
                pack.writestr(info, held)
                continue
            info.file_size = held.stat().st_size
            with held.open("rb") as source, pack.open(info, "w") as target:
                shutil.copyfileobj(source, target, 1 << 20)
    return len(contents)


def write_readme(title: str, names: Mapping[str, Contents], cautions: tuple[str, ...]) -> bytes:
    """The pack's README.txt: what each file is, how to take it in, and the cautions."""
    about = {
        "sheets": "to print or read",
        "tracks": "to play along with; the number is the tempo in per cent",
        "patterns": "the picking, for the coach",
        "songs": "the song, for the coach",
    }
    lines = [title, "=" * len(title), ""]
    for folder, what in about.items():
        inside = sorted(name for name in names if name.startswith(f"{folder}/"))
        if inside:
            lines += [f"{folder}: {what}", *(f"  {name}" for name in inside), ""]
    lines += ["To take it into your own coach: coach unpack THIS_FILE.zip", "It keeps all that you have already.", ""]
    lines += ["Look after yourself", *(f"  {caution}" for caution in cautions)]
    return ("\n".join(lines) + "\n").encode()

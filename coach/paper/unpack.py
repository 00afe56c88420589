"""Unpacking a pack from a stranger safely: every file is checked before one of them gets its place.

What the zip says of itself is never trusted: names are held against a list of what may be, files are read in blocks
against limits, their kinds are checked by their contents. Everything goes into a folder of its own first; what is
refused leaves nothing behind.
"""

from __future__ import annotations

import errno
import os
import re
import shutil
import stat
import struct
import zipfile
import zlib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import BinaryIO

from coach.errors import BadInput, CoachError, reason
from coach.paper.pack import FOLDERS, README, check_name, comparable_name, printable_name

MOST_FILES = 200
LARGEST_PACK = 1 << 30
MOST_BYTES = 2 << 30  # unpacked, in all
LARGEST = {"patterns": 256 << 10, "songs": 1 << 20, "sheets": 50 << 20, "tracks": 700 << 20, "": 64 << 10}
MOST_RATIO = 100  # unpacked against packed, from one MiB on; deflate itself reaches 1032 (zlib's own notes)
_FREE_OF_RATIO = 1 << 20
_LARGEST_DIRECTORY = 1 << 20
_BLOCK = 64 << 10
_ENCRYPTED = 0x1 | 0x40
# PKWARE APPNOTE 6.3: end of central directory 4.3.16 (22 bytes and a comment), zip64 locator 4.3.15 (20 bytes).
_END, _END_SIZE, _LOCATOR, _LOCATOR_SIZE = b"PK\x05\x06", 22, b"PK\x06\x07", 20

Check = Callable[[Path], object]


def take_apart(pack: Path, into: Path, checks: Mapping[str, Check]) -> list[str]:
    """Unpack into the new folder `into` and return the names, README.txt left out where there is none.

    checks   `patterns` and `songs` -> what reads such a file and raises BadInput when it cannot be used
    Raises BadInput with one sentence for whatever is wrong; then `into` may hold a part and is the caller's to throw
    away.
    """
    where = pack.name
    try:
        with _open_pack(pack) as raw, zipfile.ZipFile(raw) as archive:
            members = _checked_members(archive)
            if sum(info.compress_size for info in members) > LARGEST_PACK:
                raise BadInput("its files overlap", mend="ask for the pack again")
            total = 0
            for info in members:
                total += _extract(archive, info, into / info.filename, MOST_BYTES - total)
                _check_file(into / info.filename, info.filename, checks)
    except BadInput as error:
        raise error.at(where) from None
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, struct.error, ValueError, OverflowError):
        raise _damaged_pack(where) from None
    except OSError as error:
        if error.errno != errno.EINVAL:  # the disk's trouble, not the zip's
            raise
        raise _damaged_pack(where) from None  # it points to a place before its own beginning
    return [info.filename for info in members]


def _damaged_pack(where: str) -> BadInput:
    return BadInput("this zip is damaged or not a zip", where=where, mend="ask for the pack again")


def _open_pack(pack: Path) -> BinaryIO:
    """The file, after a look at its size and the size of its directory, which would be read into memory whole."""
    try:
        if not pack.is_file():
            kind = "a folder" if pack.is_dir() else "not an ordinary file" if pack.exists() else "not there"
            raise BadInput(f"this is {kind}", mend="give the path of a .zip that `coach pack` made")
        raw = pack.open("rb")
    except OSError as error:
        raise BadInput(f"it cannot be read ({reason(error)})", mend="check the path") from None
    try:
        size = os.fstat(raw.fileno()).st_size
        if size > LARGEST_PACK:
            raise BadInput(f"it is larger than {LARGEST_PACK >> 20} MiB", mend="a pack is smaller than that")
        raw.seek(max(size - 65535 - _END_SIZE - _LOCATOR_SIZE, 0))
        tail = raw.read()
        # As the library looks for it: at the very end, else the last one before a comment.
        end = len(tail) - _END_SIZE if tail[-_END_SIZE:-18] == _END and tail[-2:] == b"\0\0" else tail.rfind(_END)
        if end < 0 or len(tail) < end + _END_SIZE:
            raise BadInput("this is not a zip", mend="give a .zip that `coach pack` made")
        directory = struct.unpack("<L", tail[end + 12 : end + 16])[0]
        if tail[max(end - _LOCATOR_SIZE, 0) : end].startswith(_LOCATOR) or directory > _LARGEST_DIRECTORY:
            raise BadInput(f"it lists more than {MOST_FILES} files", mend="a pack holds far fewer")
        raw.seek(0)
    except BaseException:
        raw.close()
        raise
    return raw


def _checked_members(archive: zipfile.ZipFile) -> list[zipfile.ZipInfo]:
    """The files of the pack, their names and kinds looked at. Raises BadInput."""
    members, seen = [], set()
    if len(archive.infolist()) > MOST_FILES:
        raise BadInput(f"it lists more than {MOST_FILES} files", mend="a pack holds far fewer")
    for info in archive.infolist():
        # What the file really says: the library cuts a name at a zero byte.
        name = info.orig_filename
        kind = stat.S_IFMT(info.external_attr >> 16)
        if kind == stat.S_IFLNK:
            raise BadInput(f"{printable_name(name)} is a link", mend="a pack holds plain files only")
        if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
            raise BadInput(f"{printable_name(name)} is not a plain file", mend="a pack holds plain files only")
        if name.rstrip("/") in FOLDERS and name.endswith("/"):
            continue  # some programs list the folders too
        check_name(name)
        if kind == stat.S_IFDIR:
            raise BadInput(f"{printable_name(name)} is a folder", mend="a pack holds plain files only")
        if comparable_name(name) in seen:
            raise BadInput(
                f"{printable_name(name)} is in it twice", mend="a file may be there once; case does not count"
            )
        seen.add(comparable_name(name))
        if info.flag_bits & _ENCRYPTED:
            raise BadInput(f"{printable_name(name)} is encrypted", mend="ask for a pack without a password")
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise BadInput(f"{printable_name(name)} is packed in an unusual way", mend="use stored or deflated files")
        members.append(info)
    if not any(info.filename != README for info in members):
        raise BadInput("there is nothing of ours in it", mend="give a .zip that `coach pack` made")
    return members


def _extract(archive: zipfile.ZipFile, info: zipfile.ZipInfo, path: Path, room: int) -> int:
    """Read one file in blocks, stopping at the first byte too many; returns its size."""
    limit = LARGEST[info.filename.rpartition("/")[0]]
    packed, size = max(info.compress_size, 1), 0
    path.parent.mkdir(parents=True, exist_ok=True)
    with archive.open(info) as source, path.open("xb") as target:
        while block := source.read(_BLOCK):
            size += len(block)
            if size > min(limit, room):
                raise BadInput(f"{printable_name(info.filename)} unpacks to too much", mend="a pack is far smaller")
            if size > max(_FREE_OF_RATIO, MOST_RATIO * packed):
                raise BadInput(
                    f"{printable_name(info.filename)} unpacks to more than {MOST_RATIO} times its size",
                    mend="files like that are made to fill a disk",
                )
            target.write(block)
    return size


# How each kind begins: RFC 8118 (PDF), RFC 9639 (FLAC), RFC 3533 (Ogg), RIFF, SMF 1.0, XML 1.0.
_BEGINS = {
    ".pdf": rb"%PDF-\d",
    ".wav": rb"RIFF....WAVE",
    ".flac": rb"fLaC",
    ".ogg": rb"OggS",
    ".mid": rb"MThd",
    ".musicxml": rb"(\xef\xbb\xbf)?\s*<\?xml",
}


def _check_file(path: Path, name: str, checks: Mapping[str, Check]) -> None:
    """Raise BadInput unless the file is of the kind that its name says."""
    folder, ending = name.rpartition("/")[0], path.suffix
    if folder in checks:
        try:
            checks[folder](path)
        except CoachError as error:
            place = error.where.partition(": ")[2]
            what = f"{place}: {error.what}" if place else error.what
            raise BadInput(f"{printable_name(name)} cannot be used: {what}", mend=error.mend) from None
        return
    if ending in _BEGINS:
        with path.open("rb") as file:
            if not re.match(_BEGINS[ending], file.read(64), re.DOTALL):
                raise _wrong_kind(name, ending)
    if ending in (".txt", ".musicxml"):
        text = path.read_bytes()
        # Escapes could take hold of a terminal, and entities of a reader of XML.
        if re.search(rb"[\x00-\x08\x0b\x0e-\x1f\x7f]|\xc2[\x80-\x9f]", text) or b"<!ENTITY" in text:
            raise _wrong_kind(name, ending)
        try:
            text.decode("utf-8")
        except UnicodeDecodeError:
            raise _wrong_kind(name, ending) from None


def _wrong_kind(name: str, ending: str) -> BadInput:
    return BadInput(f"{printable_name(name)} is not a {ending} file inside", mend="ask for the pack again")


# Into the library ---------------------------------------------------------------------------------


def place_all(moves: Mapping[Path, Path]) -> None:
    """Give every file (from -> to) its place, none of which is taken; on trouble none has it. Raises CoachError."""
    done: list[Path] = []
    made: list[Path] = []
    try:
        for source, target in moves.items():
            for folder in reversed([f for f in (target.parent, *target.parent.parents) if not f.exists()]):
                folder.mkdir()
                made.append(folder)
            _link_or_copy(source, target)
            done.append(target)
    except BaseException as error:  # an interruption too takes back what was put there
        for path in reversed(done):
            path.unlink(missing_ok=True)
        for path in reversed(made):
            path.rmdir()
        if not isinstance(error, OSError):
            raise
        raise CoachError(
            f"the pack could not be put there ({reason(error)})",
            where=str(error.filename2 or error.filename or ""),
            mend="make room, or see that the folder can be written",
        ) from None


def _link_or_copy(source: Path, target: Path) -> None:
    """Another name for the same file, never over one that exists."""
    try:
        os.link(source, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        with target.open("xb") as out, source.open("rb") as raw:
            try:
                shutil.copyfileobj(raw, out, _BLOCK)
            except BaseException:
                target.unlink()
                raise


def same_file(first: Path, second: Path) -> bool:
    """Whether two files hold the same bytes."""
    if first.stat().st_size != second.stat().st_size:
        return False
    with first.open("rb") as a, second.open("rb") as b:
        while True:
            left, right = a.read(_BLOCK), b.read(_BLOCK)
            if left != right:
                return False
            if not left:
                return True

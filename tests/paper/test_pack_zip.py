"""A pack holds what it should, always the same to the byte; a hostile one is refused and leaves nothing behind."""

from __future__ import annotations

import io
import stat
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.errors import BadInput, CoachError
from coach.paper import unpack
from coach.paper.pack import check_name, write_pack, write_readme
from coach.paper.unpack import place_all, take_apart
from coach.picking.pattern_file import read_pattern
from coach.plan.cautions import CAUTIONS
from tests.sentences import is_one_sentence

PATTERN = b'title = "Two"\nmeter = "4/4"\nslots = 4\n[[bars]]\np = "r . a ."\n'
GOOD = {
    "README.txt": b"hello\n",
    "patterns/two.toml": PATTERN,
    "sheets/two.txt": "für dich\n".encode(),
    "sheets/two.pdf": b"%PDF-1.4\n",
    "tracks/two-70.wav": b"RIFF\x10\0\0\0WAVEfmt ",
}
CHECKS = {"patterns": read_pattern, "songs": read_pattern}


def packed(contents: dict[str, bytes]) -> bytes:
    """What `write_pack` makes of the contents."""
    out = io.BytesIO()
    assert write_pack(out, contents) == len(contents)
    return out.getvalue()


def test_what_is_packed_is_unpacked(tmp_path: Path) -> None:
    """Every file comes back to the byte, under its own name."""
    (tmp_path / "a.zip").write_bytes(packed(GOOD))
    names = take_apart(tmp_path / "a.zip", tmp_path / "out", CHECKS)
    assert {name: (tmp_path / "out" / name).read_bytes() for name in names} == GOOD


def test_the_same_contents_make_the_same_bytes(tmp_path: Path) -> None:
    """Neither the order they are given in, nor the time, nor a file's own date change the pack."""
    once = packed(GOOD)
    assert packed(dict(reversed(GOOD.items()))) == once
    files = {}
    for k, (name, data) in enumerate(GOOD.items()):
        files[name] = tmp_path / str(k)
        files[name].write_bytes(data)
    out = io.BytesIO()
    write_pack(out, files)
    assert out.getvalue() == once


def test_any_zip_program_can_read_it() -> None:
    """The standard library's own test finds no fault, and the README stands first."""
    with zipfile.ZipFile(io.BytesIO(packed(GOOD))) as archive:
        assert archive.testzip() is None
        assert archive.namelist()[0] == "README.txt"
        assert {stat.S_IMODE(info.external_attr >> 16) for info in archive.infolist()} == {0o644}


def test_the_readme_tells_what_is_there_and_the_cautions() -> None:
    """Every file by name, how to take it in, and each caution word for word."""
    text = write_readme("Two", GOOD, CAUTIONS).decode()
    assert all(name in text for name in GOOD if name != "README.txt")
    assert "coach unpack" in text
    assert all(caution in text for caution in CAUTIONS)


# Names ----------------------------------------------------------------------------------------

BAD_NAMES = [
    "/etc/passwd", "../x.toml", "patterns/../../x.toml", "patterns/..", "C:/x.toml", "c:x.toml", "patterns\\x.toml",
    "patterns/con.toml", "patterns/AUX.toml", "tracks/com1.wav", "tracks/nul.x.wav", "patterns/.hidden.toml",
    "patterns/x.py", "patterns/x", "patterns/a/b.toml", "settings.toml", "ledger.sqlite3", "songs/x.toml",
    "patterns/x.song.toml", "patterns/x.toml\0.txt", "patterns/x\n.toml", "patterns/x .toml", "patterns/x..toml",
    "patterns/x:y.toml", "patterns/x*.toml", "patterns/\u202ex.toml", "tracks/x.zip", "sheets/x.exe", "", "/",
    "./x.toml", "sheets//x.txt", "patterns/" + "x" * 200 + ".toml", "sheets/x.TXT", "readme.txt", "~/x.toml",
    "patterns/-x.toml", "//server/x.toml", "patterns/x.toml/", "sheets/com¹.txt",
]  # fmt: skip


@pytest.mark.parametrize("name", BAD_NAMES)
def test_a_name_that_leads_elsewhere_or_runs_somewhere_is_refused(name: str) -> None:
    """One sentence for each; no control sign of the name reaches the screen."""
    with pytest.raises(BadInput) as caught:
        check_name(name)
    assert is_one_sentence(caught.value)
    assert str(caught.value).isprintable()


GOOD_NAMES = ["patterns/outside-in.toml", "songs/Fähre am Kai.song.toml", "tracks/a (slow)-70.flac", "README.txt"]


@pytest.mark.parametrize("name", GOOD_NAMES)
def test_names_as_players_give_them_are_taken(name: str) -> None:
    """Letters of any language, blanks, brackets."""
    check_name(name)


# Hostile packs --------------------------------------------------------------------------------


def zipped(*entries: tuple[str | zipfile.ZipInfo, bytes], squeeze: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A zip with just these entries."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", squeeze) as archive:
        for name, data in entries:
            archive.writestr(name, data)
    return out.getvalue()


def of_kind(name: str, mode: int) -> zipfile.ZipInfo:
    """An entry that says it is a link, a device, ..."""
    info = zipfile.ZipInfo(name)
    info.create_system = 3
    info.external_attr = mode << 16
    return info


def encrypted() -> bytes:
    """A zip whose only entry has the flag of encryption set in both its headers."""
    raw = bytearray(zipped(("sheets/a.txt", b"a")))
    raw[6] |= 1
    raw[raw.index(b"PK\x01\x02") + 8] |= 1
    return bytes(raw)


def lying_size() -> bytes:
    """Both headers say 4 bytes; the file unpacks to 3 MiB."""
    raw = bytearray(zipped(("sheets/a.txt", b"a" * (3 << 20))))
    for at in (22, raw.index(b"PK\x01\x02") + 24):
        raw[at : at + 4] = struct.pack("<L", 4)
    return bytes(raw)


def two_names() -> bytes:
    """The directory says sheets/a.txt, the file's own header ../../a.txt."""
    raw = bytearray(zipped(("sheets/a.txt", b"a")))
    raw[30 : 30 + 12] = b"../../ab.txt"
    return bytes(raw)


def broken_sum() -> bytes:
    """One byte of the stored contents was changed."""
    raw = bytearray(zipped(("sheets/a.txt", b"hello"), squeeze=zipfile.ZIP_STORED))
    raw[raw.index(b"hello")] = ord("j")
    return bytes(raw)


def many() -> bytes:
    """More entries than any pack has."""
    return zipped(*((f"sheets/{n}.txt", b"") for n in range(201)))


def endless_directory() -> bytes:
    """The end of the directory claims 3 GiB of it."""
    raw = bytearray(zipped(("sheets/a.txt", b"a")))
    at = raw.rindex(b"PK\x05\x06")
    raw[at + 12 : at + 16] = struct.pack("<L", 3 << 30)
    return bytes(raw)


def before_the_beginning() -> bytes:
    """The directory says it is longer than all that stands before it."""
    raw = bytearray(zipped(("sheets/a.txt", b"a")))
    at = raw.index(b"PK\x01\x02")
    raw[at + 42 : at + 46] = struct.pack("<L", 0xFFFFFF00)
    return bytes(raw)


def overlapping() -> bytes:
    """Two entries of the directory point at the same stored bytes."""
    raw = bytearray(zipped(("sheets/a.txt", b"a" * 50), ("sheets/b.txt", b"b" * 50), squeeze=zipfile.ZIP_STORED))
    second = raw.index(b"PK\x01\x02", raw.index(b"PK\x01\x02") + 4)
    raw[second + 42 : second + 46] = struct.pack("<L", 0)
    return bytes(raw)


HOSTILE: dict[str, tuple[Callable[[], bytes], str]] = {
    "absolute": (lambda: zipped(("/elsewhere/x.txt", b"a")), "outside the pack"),
    "dot-dot": (lambda: zipped(("sheets/../../x.txt", b"a")), "out of the pack"),
    "drive letter": (lambda: zipped(("C:/x.txt", b"a")), "outside the pack"),
    "backslash": (lambda: zipped(("sheets\\..\\x.txt", b"a")), "backslash"),
    "zero byte": (lambda: zipped(("sheets/a.txt", b"a")).replace(b"sheets/a.txt", b"sheets/a\0txt"), "kind of file"),
    "link": (lambda: zipped((of_kind("sheets/a.txt", stat.S_IFLNK | 0o777), b"/etc/passwd")), "is a link"),
    "device": (lambda: zipped((of_kind("sheets/a.txt", stat.S_IFCHR | 0o666), b"")), "not a plain file"),
    "pipe": (lambda: zipped((of_kind("sheets/a.txt", stat.S_IFIFO | 0o666), b"")), "not a plain file"),
    "folder": (lambda: zipped((of_kind("sheets/a.txt", stat.S_IFDIR | 0o777), b"")), "is a folder"),
    "device name": (lambda: zipped(("sheets/nul.txt", b"a")), "device"),
    "twice": (lambda: zipped(("sheets/a.txt", b"a"), ("sheets/b.txt", b"b")).replace(b"s/b", b"s/a"), "twice"),
    "twice by case": (lambda: zipped(("sheets/a.txt", b"a"), ("sheets/A.txt", b"b")), "twice"),
    "twice by accent": (lambda: zipped(("sheets/\u00e9.txt", b"a"), ("sheets/e\u0301.txt", b"b")), "twice"),
    "wrong ending": (lambda: zipped(("sheets/a.sh", b"#!/bin/sh\n")), "kind of file"),
    "settings": (lambda: zipped(("settings.toml", b"")), "does not belong"),
    "ledger": (lambda: zipped(("ledger.sqlite3", b"")), "does not belong"),
    "nested zip": (lambda: zipped(("tracks/a.zip", zipped(("x", b"x")))), "kind of file"),
    "zip called track": (lambda: zipped(("tracks/a.wav", zipped(("x", b"x")))), "not a .wav"),
    "text called pdf": (lambda: zipped(("sheets/a.pdf", b"hello")), "not a .pdf"),
    "terminal escapes": (lambda: zipped(("sheets/a.txt", b"\x1b]0;hello\x07")), "not a .txt"),
    "not UTF-8": (lambda: zipped(("sheets/a.txt", b"\xff\xfe")), "not a .txt"),
    "entities": (lambda: zipped(("sheets/a.musicxml", b'<?xml version="1.0"?><!ENTITY a "b">')), "not a .musicxml"),
    "broken pattern": (lambda: zipped(("patterns/a.toml", b"title = 3")), "cannot be used"),
    "huge pattern": (lambda: zipped(("patterns/a.toml", b"#" * (300 << 10))), "too much"),
    "bomb": (lambda: zipped(("tracks/a.wav", b"RIFF....WAVE" + bytes(30 << 20))), "100 times"),
    "big text": (lambda: zipped(("README.txt", bytes(80 << 10)), ("sheets/a.txt", b"a")), "too much"),
    "lying size": (lying_size, ""),
    "two names": (two_names, "damaged"),
    "broken sum": (broken_sum, "damaged"),
    "many": (many, "more than 200"),
    "endless directory": (endless_directory, "more than 200"),
    "overlapping": (overlapping, ""),
    "before the beginning": (before_the_beginning, ""),
    "encrypted": (encrypted, "encrypted"),
    "unusual packing": (lambda: zipped(("sheets/a.txt", b"a"), squeeze=zipfile.ZIP_LZMA), "unusual"),
    "empty": (lambda: zipped(), "nothing of ours"),
    "readme alone": (lambda: zipped(("README.txt", b"hello")), "nothing of ours"),
    "no zip": (lambda: b"hello", "not a zip"),
    "no bytes": (lambda: b"", "not a zip"),
    "cut off": (lambda: packed(GOOD)[:-30], "not a zip"),
    "end alone": (lambda: b"PK\x05\x06" + bytes(18), "nothing of ours"),
    "end and rubbish": (lambda: b"PK\x05\x06" + b"\xff" * 18, ""),
}


@pytest.mark.parametrize("what", HOSTILE)
def test_a_hostile_pack_is_refused_in_one_sentence(what: str, tmp_path: Path) -> None:
    """Exit code 2, one line that says what is wrong and what to do, and nothing outside its own folder."""
    make, said = HOSTILE[what]
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "bad.zip").write_bytes(make())
    with pytest.raises(BadInput) as caught:
        take_apart(tmp_path / "in" / "bad.zip", tmp_path / "in" / "out", CHECKS)
    assert is_one_sentence(caught.value)
    assert said in str(caught.value)
    assert str(caught.value).startswith("bad.zip: ")
    assert [path.name for path in tmp_path.iterdir()] == ["in"]


@settings(max_examples=300, deadline=None)
@given(
    changes=st.lists(st.tuples(st.integers(0, 5000), st.integers(0, 255)), min_size=1, max_size=6),
    cut=st.one_of(st.none(), st.integers(0, 5000)),
)
def test_a_pack_with_any_bytes_changed_is_refused_or_holds_plain_files(
    changes: list[tuple[int, int]], cut: int | None, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Whatever is changed or cut off: one sentence, or files of allowed names inside the folder; nothing else."""
    raw = bytearray(packed(GOOD))
    for at, value in changes:
        raw[at % len(raw)] = value
    folder = tmp_path_factory.mktemp("changed")
    (folder / "a.zip").write_bytes(raw[: len(raw) if cut is None else cut % len(raw)])
    refused: BadInput | None = None
    try:
        for name in take_apart(folder / "a.zip", folder / "out", CHECKS):
            check_name(name)
    except BadInput as error:
        refused = error
    assert refused is None or is_one_sentence(refused)
    assert {path.name for path in folder.iterdir()} <= {"a.zip", "out"}
    inside = [path for path in folder.rglob("*") if not path.is_dir()]
    assert not any(path.is_symlink() for path in inside)


def test_a_bomb_is_stopped_while_it_unpacks(tmp_path: Path) -> None:
    """Of 600 MiB in a small zip not two reach the disk."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("tracks/a.wav", "w") as track:
        track.write(b"RIFF....WAVE")
        for _ in range(600):
            track.write(bytes(1 << 20))
    (tmp_path / "bad.zip").write_bytes(out.getvalue())
    assert len(out.getvalue()) > 500 << 10
    unpack_limit = 100 * len(out.getvalue())
    with pytest.raises(BadInput, match="100 times"):
        take_apart(tmp_path / "bad.zip", tmp_path / "out", CHECKS)
    assert (tmp_path / "out" / "tracks" / "a.wav").stat().st_size <= unpack_limit


def test_a_folder_or_a_missing_pack_is_one_sentence(tmp_path: Path) -> None:
    """Told by what it is."""
    for path, said in ((tmp_path, "a folder"), (tmp_path / "no.zip", "not there"), (Path("/dev/zero"), "ordinary")):
        with pytest.raises(BadInput, match=said) as caught:
            take_apart(path, tmp_path / "out", CHECKS)
        assert is_one_sentence(caught.value)


def test_entries_for_folders_are_no_harm(tmp_path: Path) -> None:
    """Some zip programs list `sheets/` by itself."""
    (tmp_path / "a.zip").write_bytes(zipped(("sheets/", b""), ("sheets/a.txt", b"a")))
    assert take_apart(tmp_path / "a.zip", tmp_path / "out", CHECKS) == ["sheets/a.txt"]


# Placing --------------------------------------------------------------------------------------


def test_all_or_nothing(tmp_path: Path) -> None:
    """When the third of three files finds its place taken, the first two do not stay, nor does a new folder."""
    for n in "abc":
        (tmp_path / n).write_text(n)
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "c").write_text("mine")
    moves = {
        tmp_path / "a": tmp_path / "new" / "deep" / "a",
        tmp_path / "b": tmp_path / "there" / "b",
        tmp_path / "c": tmp_path / "there" / "c",
    }
    with pytest.raises(CoachError, match="could not be put there"):
        place_all(moves)
    assert not (tmp_path / "new").exists()
    assert [p.name for p in (tmp_path / "there").iterdir()] == ["c"]
    assert (tmp_path / "there" / "c").read_text() == "mine"


def test_without_hard_links_files_are_copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a file system that has none the copy holds the same, and a file that is there is kept."""

    def no_link(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(unpack.os, "link", no_link)
    (tmp_path / "a").write_text("a")
    place_all({tmp_path / "a": tmp_path / "b"})
    assert (tmp_path / "b").read_text() == "a"
    (tmp_path / "b").write_text("mine")
    with pytest.raises(CoachError):
        place_all({tmp_path / "a": tmp_path / "b"})
    assert (tmp_path / "b").read_text() == "mine"

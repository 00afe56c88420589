"""Packs from a stranger: zips with odd names, kinds, sizes and contents."""

from __future__ import annotations

import io
import stat
import warnings
import zipfile
from pathlib import Path
from random import Random

from tests.campaign import homes, mutate
from tests.campaign.call import call, fault
from tests.campaign.kind import Kind

NAMES = (
    "../out.txt", "/etc/none-of-it", "patterns/../../x.toml", "patterns\\x.toml", "patterns/x.toml/", "C:x.toml",
    "patterns/.x.toml",
    "patterns/con.toml", "patterns/x.toml ", "PATTERNS/x.toml", "tracks/x.sh", "sheets/x.html", "patterns/x\n.toml",
    "patterns/x\x1b[31m.toml", "songs/" + "x" * 300 + ".song.toml", "patterns/a/b.toml", "", ".", "readme.txt",
    "x\0y.toml",
    "patterns/mine.toml", "songs/ferry-bell.song.toml", "patterns/outside-in.toml", "ledger.sqlite3", "settings.toml",
)  # fmt: skip


def _pack(rng: Random) -> bytes:
    files: list[tuple[str, bytes]] = [
        ("README.txt", b"Warm up first.\n"),
        ("patterns/theirs.toml", homes.PATTERN.replace("Two and", "Three and").encode()),
        ("songs/theirs.song.toml", homes.SONG.replace("Ferry", "Other").encode()),
        ("sheets/theirs.txt", b"E |-0-|\n"),
    ]
    way = rng.randrange(8)
    at = rng.randrange(len(files))
    name, data = files[at]
    if way < 2:
        files.append((rng.choice(NAMES), rng.choice((data, b"", b"#!/bin/sh\n", rng.randbytes(50)))))
    elif way < 4:
        files[at] = (name, mutate.toml(rng, data.decode()) if name.endswith(".toml") else mutate.blind(rng, data))
    elif way == 4:
        files[at] = (mutate.text(rng, name)[:60000], data)
    elif way == 5:
        files.append((name, rng.choice((b" ", rng.randbytes(9))) * rng.choice((1 << 16, 30 << 20))))
    elif way == 6:
        files += [(f"patterns/p{k}.toml", data) for k in range(rng.choice((150, 5000)))]
    made = io.BytesIO()
    warnings.simplefilter("ignore", UserWarning)  # a name that is there twice is meant
    with zipfile.ZipFile(
        made, "w", rng.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_LZMA))
    ) as archive:
        for name, data in files:
            info = zipfile.ZipInfo("x")
            info.filename = name
            info.compress_type = archive.compression
            if rng.random() < 0.06:
                info.external_attr = rng.choice((stat.S_IFLNK, stat.S_IFIFO, stat.S_IFDIR, stat.S_IFCHR)) << 16
            try:
                archive.writestr(info, data)
            except (ValueError, OverflowError, UnicodeError):  # the library will not write such a name
                continue
        archive.comment = rng.choice((b"", b"", b"PK\x05\x06" * 9, b"x" * 60000))
    raw = made.getvalue()
    return mutate.blind(rng, raw) if way == 7 or rng.random() < 0.2 else raw


def pack(rng: Random, folder: Path) -> str | None:
    """A pack is taken in whole or refused whole; what was there before is as it was, and nothing lies outside."""
    home = homes.make_home(folder)
    before = homes.keep(home)
    (folder / "from").mkdir()
    (folder / "from" / "pack.zip").write_bytes(_pack(rng))
    said = call(["unpack", "from/pack.zip"], folder)
    there = {str(p.relative_to(home)) for p in home.rglob("*") if p.is_file()}
    odd = [name for name in there if not name.startswith(("patterns/", "songs/", "handouts/"))]
    odd = [name for name in odd if name not in before.files and not name.startswith(("ledger", "coach.log"))]
    strewn = sorted(p.name for p in folder.iterdir() if p.name not in ("from", "home", ".out", ".err"))
    taken = None
    if said.code != 0 and (more := [n for n in there if n.endswith(".toml") and n not in before.files]):
        taken = f"refused, and yet {more[0]} was taken in"
    outside = f"it lies where it should not: {(odd + strewn)[0]}" if odd or strewn else None
    found = homes.first(fault(said, alone=said.code != 0), before.lost(), homes.parts(folder), taken, outside)
    for words in (["patterns"], ["song"], ["today"]):
        found = found or fault(call(words, folder), codes=(0,))
    return found


KINDS = (Kind("pack", pack),)

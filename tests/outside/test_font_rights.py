"""The fonts we ship carry their makers' notices in their own name tables (OpenType 1.9, name table: 0 is the copyright
notice, 13 the licence); the licence file beside them is the family's own and holds all of them."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from coach import places

FONTS = sorted(Path(str(places.shipped("shared") / "fonts")).glob("*.ttf"))


def name_of(font: Path, number: int) -> str:
    """A record of the name table for Windows in Unicode."""
    raw = font.read_bytes()
    tables = (struct.unpack(">4sIII", raw[12 + 16 * k : 28 + 16 * k]) for k in range(struct.unpack(">H", raw[4:6])[0]))
    begin = next(offset for tag, _, offset, _ in tables if tag == b"name")
    _, count, strings = struct.unpack(">HHH", raw[begin : begin + 6])
    for k in range(count):
        system, _, _, id_, size, at = struct.unpack(">6H", raw[begin + 6 + 12 * k : begin + 18 + 12 * k])
        if (system, id_) == (3, number):
            return raw[begin + strings + at : begin + strings + at + size].decode("utf-16-be")
    raise LookupError(number)


@pytest.mark.parametrize("font", FONTS, ids=lambda f: f.stem)
def test_the_licence_file_holds_every_notice_of_the_font(font: Path) -> None:
    """Both copyrights and both permissions, word for word."""
    text = " ".join((font.parent / "LICENCE-DejaVu.txt").read_text("utf-8").split())
    notices = [line.strip() for line in name_of(font, 0).splitlines() if line.strip()]
    assert len(notices) == 3
    assert all(notice in text for notice in notices)
    permissions = name_of(font, 13).split("\n\n", 1)[1]
    assert " ".join(permissions.split()) in text


def test_there_are_fonts() -> None:
    """Plain, bold and slanted."""
    assert len(FONTS) == 3

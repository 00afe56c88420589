"""The words that stand in players' ledgers: they may never change, whatever the program calls them."""

from __future__ import annotations

from pathlib import Path

from coach.log.exchange import export_json
from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.log.takes import Mode, Verdict
from coach.picking.layers import Layer


def test_the_words_of_ledgers_stay() -> None:
    """Kinds of notes, verdicts from worst to best, modes, and layers from the thumb to all."""
    assert [*NoteKind] == [
        "pain reported",
        "pain key by mistake",
        "plan wish",
        "heard",
        "heard from a recording",
        "song settled",
        "remedy chosen",
        "remedy dropped",
        "other chords",
        "seconds beside whole passes",
        "put aside",
    ]
    assert [*Verdict] == ["lost", "shaky", "held", "flowing"]
    assert [*Mode] == ["play", "sing"]
    assert [*Layer] == ["thumb", "tune", "pinches", "beats", "full"]


def test_they_are_written_as_plain_words(tmp_path: Path) -> None:
    """In SQLite and in an export, and read back as such."""
    with Ledger(tmp_path / "ledger.sqlite3") as ledger:
        take = ledger.add_whole_take("outside-in", 80, Verdict.HELD, bars=8, layer=Layer.THUMB, mode=Mode.SING)
        for kind in NoteKind:
            ledger.add_note(kind, "x", take)
        assert ledger.rows("SELECT layer, mode, typeof(layer), typeof(mode) FROM takes") == [
            ("thumb", "sing", "text", "text")
        ]
        assert ledger.rows("SELECT verdict, typeof(verdict) FROM verdicts") == [("held", "text")]
        assert [note.text for note in ledger.notes(NoteKind.LISTENED)] == ["x"]
        export_json(ledger, tmp_path / "out.json")
    text = (tmp_path / "out.json").read_text("utf-8")
    assert all(f'"kind": "{kind.value}"' in text for kind in NoteKind)

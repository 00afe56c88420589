"""`coach song due`, and songs in `coach today` and `coach drills`, called as a player calls them."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.skill.remedies import CORNER, note_text
from tests.calls import Data, Run


def test_a_song_is_wanted_rests_and_wakes(data: Data) -> None:
    """In 14 days; put to rest; brought back; wanted by no day."""
    day = (datetime.now().astimezone().date() + timedelta(14)).isoformat()
    assert data("song", "due", "last-boat", "+14") == {
        "song": "last-boat", "due": day, "resting": False, "taken": True,
    }  # fmt: skip
    assert data("song", "due", "last-boat", "rest")["resting"]
    assert not data("song", "due", "last-boat", "wake")["resting"]
    assert data("song", "due", "last-boat", "none")["due"] is None


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("last-boat", "soon"), "'soon' is not a day"),
        (("last-boat", "2001-01-01"), "2001-01-01 has gone by"),
        (("lost-boat", "+3"), "did you mean last-boat?"),
    ],
)
def test_mistakes_are_one_sentence(run: Run, words: tuple[str, str], told: str) -> None:
    """Exit code 2, the mistake and how to mend it, and nothing is written."""
    code, out, err = run("song", "due", *words)
    assert (code, out) == (2, "")
    assert told in err
    assert len(err.strip().splitlines()) == 1


def test_only_a_song_taken_up_is_practised(data: Data, coach_home: Path) -> None:
    """The shipped songs are in no list until one is wanted; then its next step is in the plan of a second day."""
    assert not [row for row in data("drills") if "/" in row["drill"]]
    data("song", "due", "last-boat", "+10")
    rows = {row["drill"]: row for row in data("drills")}
    assert rows["last-boat/plain/part/Verse/sing"]["kind"] == "sing"
    assert not [id_ for id_ in rows if id_.startswith("der-mond/")]
    yesterday = datetime.now().astimezone() - timedelta(days=1)
    with Ledger(coach_home / "ledger.sqlite3") as ledger:
        for drill in ("thumb-on-the-beat", "thumb-root-and-alternate", "thumb-three-strings"):
            ledger.add_whole_take(drill, 80, "held", bars=32, stumbles=0, at=yesterday)
    blocks = data("today")["blocks"]
    hear, song = [b for b in blocks if b["drill"] and b["drill"].startswith("last-boat/")][:2]
    assert (hear["kind"], song["kind"], hear["drill"]) == ("listen", "play", song["drill"])
    assert song["drill"] == "last-boat/plain/pattern/outside-in"
    assert "wanted in 10 days" in song["why"]
    data("song", "due", "last-boat", "rest")
    assert not [b for b in data("today")["blocks"] if b["drill"] and "/" in b["drill"]]


def test_stumbles_that_gather_in_a_bar_make_a_corner(data: Data, coach_home: Path) -> None:
    """Eight stumbles of the verse, seven in its bar 4: that bar with those beside it is in the plan, and says why."""
    now = datetime.now().astimezone()
    with Ledger(coach_home / "ledger.sqlite3") as ledger:
        for days_ago in range(8, 0, -1):
            at = now - timedelta(days=days_ago)
            take = ledger.begin_take("last-boat/plain/part/Verse", 60, "full", at)
            ledger.add_stumble(take, 3 if days_ago > 1 else 7, "1", 60, 1, at=at)
            ledger.add_pass(take, 1, 60, 10, 1, "full", at=at)
            ledger.give_verdict(take, "shaky", at=at)
    plan = data("today", "--minutes", "30")
    corner = next((b for b in plan["blocks"] if b["drill"] == "last-boat/plain/corner/Verse/4"), None)
    assert corner is not None, json.dumps(plan)
    assert any("stumbles gather" in why for why in corner["why"])
    told = [w for b in plan["blocks"] if b["drill"] == "last-boat/plain/part/Verse" for w in b["why"]]
    assert not any("stumbles gather" in w for w in told)  # said once
    row = next(r for r in data("drills") if r["drill"] == "last-boat/plain/part/Verse")
    assert row["trouble"].startswith("stumbles gather at bar 4, beat 2")
    assert row["remedy"] == "that corner alone, round and round, with what stands beside it"


def test_once_the_corner_had_its_go_the_part_itself_says_what_to_try(data: Data, coach_home: Path) -> None:
    """The corner was tried and it is no cleaner since: the part presses by itself, with the next remedy."""
    now = datetime.now().astimezone()
    with Ledger(coach_home / "ledger.sqlite3") as ledger:
        for days_ago in range(16, 0, -1):
            at = now - timedelta(days=days_ago)
            if days_ago == 8:
                text = note_text("last-boat/plain/part/Verse", CORNER, "bar 4")
                ledger.add_note(NoteKind.REMEDY_CHOSEN, text, None, at - timedelta(hours=1))
            take = ledger.begin_take("last-boat/plain/part/Verse", 60, "full", at)
            for number in range(1, 4):
                ledger.add_stumble(take, 3, "1", 60, number, at=at)
                ledger.add_pass(take, number, 60, 10, 1, "full", at=at)
            ledger.give_verdict(take, "shaky", at=at)
    blocks = data("today", "--minutes", "30")["blocks"]
    assert "last-boat/plain/corner/Verse/4" not in {b["drill"] for b in blocks}
    told = [w for b in blocks if b["drill"] == "last-boat/plain/part/Verse" for w in b["why"]]
    assert any("stumbles gather" in w and "try: all of it slower" in w for w in told)

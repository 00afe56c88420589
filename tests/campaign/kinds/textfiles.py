"""Damaged pattern, song and settings files."""

from __future__ import annotations

import json
import re
from pathlib import Path
from random import Random

from tests.campaign import homes, mutate
from tests.campaign.call import call, fault
from tests.campaign.kind import Kind

PLUCKS = (
    "1", "2@3", "3@99", "1@24", "2@25", "4@-1", "(2", "((2))", "2!!", "(2!)", "r!", "r@3", "7", "0", "a", "x", "2@",
    "@3", "", "2 3", "3@" + "9" * 40, "²",
)  # fmt: skip
LAST_FRET = 24  # from memory: no fretted guitar in common use has more


def _shipped(rng: Random, folder: str, own: str) -> str:
    from coach import places

    files = sorted(places.shipped(folder).rglob("*.toml"))
    return own if rng.random() < 0.4 else rng.choice(files).read_text()


def _other_lanes(rng: Random, written: str) -> str:
    """A pattern with a few of its plucks replaced by others, odd ones among them."""
    for _ in range(rng.choice((1, 2, 4))):
        plucks = list(re.finditer(r"(?m)(?<=[\" ])(?:\.|[raf1-6])(?=[\" ])", written))
        if plucks:
            at = rng.choice(plucks)
            written = written[: at.start()] + rng.choice(PLUCKS) + written[at.end() :]
    return written


def pattern(rng: Random, folder: Path) -> str | None:
    """A damaged pattern lies on the shelf, or is named by its path."""
    home = homes.make_home(folder)
    path = home / "patterns" / "broken.toml"
    written = _shipped(rng, "patterns", homes.PATTERN)
    lanes = rng.random() < 0.25
    path.write_bytes(_other_lanes(rng, written).encode() if lanes else mutate.toml(rng, written))
    before = homes.keep(home)
    words = rng.choice(
        (["patterns"], ["patterns", "--json"], ["show", "broken", "--json"], ["show", str(path), "--chords", "C | F"],
         ["layers", "broken"], ["today"], ["drills"], ["sheet", "broken", "-o", "out.txt"],
         ["sheet", "broken", "-o", "out.pdf"], ["sheet", "broken", "-o", "out.musicxml"])
    )  # fmt: skip
    words = ["show", "broken", "--json"] if lanes else words
    said = call(words, folder)
    if words[0] in ("today", "drills", "patterns") and said.code == 2:
        return f"one broken pattern file stops `coach {words[0]}`: {said.err[:150]}"
    neck = None
    if said.code == 0 and words == ["show", "broken", "--json"]:
        high = max((p["fret"] for p in json.loads(said.out)["plucks"]), default=0)
        neck = f"a pluck at fret {high} is taken" if high > LAST_FRET else None
    return homes.first(fault(said), neck, before.lost(), homes.parts(folder))


def song(rng: Random, folder: Path) -> str | None:
    """A damaged song lies on the shelf, or is named by its path."""
    home = homes.make_home(folder)
    path = home / "songs" / "broken.song.toml"
    path.write_bytes(mutate.toml(rng, _shipped(rng, "shared/songs", homes.SONG)))
    before = homes.keep(home)
    words = rng.choice(
        (["song"], ["song", "check", str(path)], ["song", "check", str(path), "--json"], ["song", "show", "broken"],
         ["show", "broken", "--sing"], ["song", "arrange", "broken", "--tier", "plain", "--name", "new"],
         ["song", "due", "broken", "+14"], ["today"], ["drills"], ["sheet", "broken", "--sing", "-o", "out.txt"],
         ["sheet", "broken", "-o", "out.mid"])
    )  # fmt: skip
    said = call(words, folder)
    name = "songs/broken.song.toml"
    arranged = (name,) if words[:2] == ["song", "arrange"] and said.code == 0 else ()
    if words[0] in ("today", "drills") and said.code != 0:
        return f"one broken song file stops `coach {words[0]}`: {said.err[:150]}"
    return homes.first(fault(said), before.lost(arranged), homes.parts(folder))


def settings(rng: Random, folder: Path) -> str | None:
    """Damaged settings: told, the usual ones serve, and nothing writes over them."""
    home = homes.make_home(folder)
    (home / "settings.toml").write_bytes(mutate.toml(rng, homes.SETTINGS))
    before = homes.keep(home)
    words = rng.choice((["today"], [], ["doctor"], ["today", "--json"], ["log", "blank", "-o", "out.pdf"]))
    return homes.first(fault(call(words, folder), codes=(0,)), before.lost(), homes.parts(folder))


KINDS = (Kind("pattern", pattern), Kind("song", song), Kind("settings", settings))

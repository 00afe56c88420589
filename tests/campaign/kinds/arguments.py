"""Odd words after every command of the table, made from what its own parser says it takes."""

from __future__ import annotations

from pathlib import Path
from random import Random

from tests.campaign import homes, mutate
from tests.campaign.call import call, fault
from tests.campaign.kind import Kind

CHORDS = ("C", "C | Am | F | G", "C F/C | N", "Bbmaj7 | D/F# G7sus4", "F#m | B7", "Ebm7b5")
GOOD = {
    "pattern": ("outside-in", "mine", "home/patterns/mine.toml", "six-eight-arpeggio", "last-boat", "ferry-bell"),
    "song": ("last-boat", "ferry-bell", "home/songs/ferry-bell.song.toml"), "chords": CHORDS, "--chords": CHORDS,
    "chord": ("F", "Bbmaj7", "D/F#"), "shape": ("x32010", "8(10)(10)988", "000230"), "--key": ("C", "F#m", "Bb"),
    "--from": ("72", "C", "E"), "--to": ("84", "A", "Bm"), "--tempo": ("84", "92.5"), "--step": ("3",),
    "--every": ("4",),
    "--smooth": ("16",), "--bars": ("8",), "--meter": ("4/4", "6/8", "5/4"), "--rate": ("8000",), "--loops": ("2",),
    "--layer": ("thumb", "full", "pinches"), "--shapes": ("C=x32010,F=xx3211",), "--pin": ("C=x32010,2=xx3211",),
    "--top": ("C=E,2=A4",), "--melody": ("D4-D5",), "--voice": ("A2-D4",), "--tuning": ("dadgad", "E2 A2 D3 G3 B3 E4"),
    "--barres": ("small",), "--capo": ("2",), "--span": ("4", "90"), "--minutes": ("30", "240"),
    "--drill": ("outside-in",),
    "--verdict": ("held", "lost"), "--stumbles": ("1",),
    "--at": ("2026-03-01T19:30+01:00", "2026-01-01", "9999-12-31T23:59"),
    "--out": ("out.txt", "out.pdf", "out.wav", "out.mid", "out.zip", "out.musicxml", "out.song.toml",
              "home", "no/out.pdf"),
    "file": ("home/songs/ferry-bell.song.toml", "loop", "out.csv", "out.json", "new.song.toml", "home", "none.mxl"),
    "other": ("home/ledger.sqlite3", "home/settings.toml", "home", "none", "loop"), "take": ("none.wav", "loop"),
    "pack": ("none.zip", "home/settings.toml"), "--into": ("in",), "--arrangement": ("plain", "full"),
    "--tier": ("both",),
    "--name": ("evening",), "--paper": ("letter",), "when": ("12-05", "+14", "rest", "none"), "--part": ("Verse",),
}  # fmt: skip
PATHS = ("--out", "--into", "file", "other", "take", "pack", "pattern", "song")


def _value(rng: Random, name: str) -> str:
    good = rng.choice(GOOD.get(name, ("3",)))
    chance = rng.random()
    if chance < 0.55:
        return good
    odd = mutate.text(rng, good) if chance < 0.75 else rng.choice((*mutate.NUMBERS, *mutate.STRINGS))
    odd = odd.replace("\0", "")
    if name in PATHS and (odd.strip().startswith(("/", "~")) or ".." in odd):
        return good  # nothing is written outside the case's folder
    return odd[:6000]


def words_for(rng: Random, command: str) -> list[str]:
    """A call of `command`: what it needs and some of what it may have, with values that fit or do not."""
    from coach.cli import load

    words = command.split()
    for action in load(command).parser(command)._actions:
        needed = action.required and not action.option_strings
        if action.dest == "help" or rng.random() > (0.95 if needed or action.required else 0.25):
            continue
        option = max(action.option_strings, key=len, default="")
        if option:
            words.append(option if rng.random() < 0.97 else mutate.text(rng, option))
        if action.nargs != 0:
            dest = action.dest if action.dest not in ("pattern_or_song", "song_or_pattern", "what") else "pattern"
            words.append(_value(rng, option or dest))
    if rng.random() < 0.1:
        words.insert(rng.randrange(len(words) + 1), rng.choice((*mutate.STRINGS, "--json", "-o", "--", "--help", "-h")))
    if rng.random() < 0.1:
        rng.shuffle(words)
    # A blind word may stand where a path does: none of them leads out of the folder.
    return [w.replace("\0", "") for w in words if not w.strip().startswith(("/", "~")) and ".." not in w]


def arguments(rng: Random, folder: Path) -> str | None:
    """One command with odd words: done, or one sentence; nothing of the player's is harmed."""
    from coach.cli import COMMANDS

    home = homes.make_home(folder)
    (folder / "loop").symlink_to("loop")
    before = homes.keep(home)
    words = words_for(rng, rng.choice(sorted(COMMANDS)))
    said = call(words, folder, cpu_s=40)
    changed = ("songs/ferry-bell.song.toml",) if "arrange" in words or "new" in words else ()
    if said.code == 0 and "--force" in words:
        changed = tuple(before.files)  # it was asked for
    return homes.first(fault(said), before.lost(changed), homes.parts(folder))


def entries(rng: Random, folder: Path) -> str | None:
    """A take with an odd moment, tempo or count is logged or refused; whatever was logged, the coach goes on."""
    homes.make_home(folder, takes=rng.choice((0, 12)))
    year = rng.choice((1, 2, 1582, 1899, 1969, 1970, 2025, 2026, 2027, 2038, 2100, 9998, 9999))
    at = f"{year:04}-{rng.randrange(1, 13):02}-{rng.randrange(1, 29):02}T{rng.randrange(24):02}:{rng.randrange(60):02}"
    at = rng.choice((at, at + rng.choice(("Z", "+14:00", "-12:00", "+23:59", ":60")), "9999-12-31T23:59", "0001-01-01"))
    bars, stumbles = (rng.choice(("0", "8", "100000", *mutate.NUMBERS)) for _ in range(2))
    words = [
        "log",
        "add",
        "--drill",
        "outside-in",
        "--tempo",
        rng.choice(("84", "10", "400", "1e3")),
        "--verdict",
        "held",
    ]
    words += ["--at", at, f"--bars={bars}", f"--stumbles={stumbles}"]
    found = fault(call(words, folder))
    for after in (["today"], ["drills"], ["log"], ["log", "export", "out.json"]):
        found = found or fault(call(after, folder), codes=(0,))
    return found and f"{found} (after --at {at})"


KINDS = (Kind("arguments", arguments, share=2), Kind("entries", entries, share=0.5))

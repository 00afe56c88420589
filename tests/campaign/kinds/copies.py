"""Two copies of the coach at once, and a hand that edits files meanwhile."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path
from random import Random

from tests.campaign import homes, rig
from tests.campaign.call import ROOT, call
from tests.campaign.kind import Kind, slack

QUIT = "\x11"


def _together(folder: Path, calls: list[list[str]]) -> list[tuple[int, str]]:
    """The commands at once, each a process of its own; (exit code, stderr) of each."""
    env = {**os.environ, "PYTHONPATH": str(ROOT), "COACH_HOME": str(folder / "home"), "HOME": str(folder)}
    pipes = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE}
    running = [
        subprocess.Popen([sys.executable, "-m", "coach", *words], env=env, cwd=folder, **pipes)  # type: ignore[call-overload]
        for words in calls
    ]
    ended = [(program.communicate(timeout=60 * slack())[1].decode(), program.returncode) for program in running]
    return [(code, err) for err, code in ended]


def ledger(rng: Random, folder: Path) -> str | None:
    """Several copies log and merge at once: each take that was acknowledged is there, once."""
    home = homes.make_home(folder, takes=rng.choice((0, 12)))
    (folder / "other.sqlite3").write_bytes(homes.ledger_bytes(12))
    before = homes.keep(home)
    calls = [
        ["log", "add", "--drill", "outside-in", "--tempo", str(100 + k), "--verdict", "held"]
        for k in range(rng.randrange(2, 6))
    ]
    ended = _together(folder, [*calls, *([["log", "merge", "other.sqlite3"]] if rng.random() < 0.5 else [["today"]])])
    if odd := [err for code, err in ended if code not in (0, 1) or "Traceback" in err or "did not foresee" in err]:
        return f"at once: {odd[0].strip()[:200]}"
    rows = homes.rows_of(home / "ledger.sqlite3") or {}
    tempos = [row[5] for row in rows if row[0] == "takes"]
    wrong = [
        c[5] for c, (code, _) in zip(calls, ended, strict=False) if (code == 0) != (tempos.count(float(c[5])) == 1)
    ]
    lost = f"takes at {', '.join(wrong)} bpm: the exit code and the ledger do not agree" if wrong else None
    return homes.first(lost, before.lost(), homes.unsound(home / "ledger.sqlite3"))


def songs(rng: Random, folder: Path) -> str | None:
    """Several copies arrange one song at once: each arrangement that was acknowledged is in the file."""
    home = homes.make_home(folder)
    path = home / "songs" / "ferry-bell.song.toml"
    names = [f"way{k}" for k in range(rng.randrange(2, 5))]
    ended = _together(folder, [["song", "arrange", "ferry-bell", "--tier", "plain", "--name", n] for n in names])
    if odd := [err for code, err in ended if code not in (0, 1) or "Traceback" in err or "did not foresee" in err]:
        return f"at once: {odd[0].strip()[:200]}"
    text = path.read_text()
    there = tomllib.loads(text)["arrangements"]
    lost = [
        n for n, (code, _) in zip(names, ended, strict=True) if code == 0 and not any(a.startswith(n) for a in there)
    ]
    if lost:
        return f"{len(lost)} of {len(names)} arrangements were acknowledged and are not in the song"
    if not set(homes.SONG.splitlines()) <= set(text.splitlines()):
        return "a line the player wrote is lost"
    return homes.parts(home)


def settings(rng: Random, folder: Path) -> str | None:
    """A hand edits the settings, or a second copy changes one, while the coach is open: nobody's change is lost."""
    home = homes.make_home(folder)
    path = home / "settings.toml"
    if rng.random() < 0.3:
        path.write_text(path.read_text().replace("minutes = 25", 'minutes = "many"'))
    way = rng.choice(("nothing", "by hand", "two copies"))
    words = ("drill", "two-four-answer")
    with rig.coach(folder, *words) as one:
        if not one.sees("guide"):
            return f"the stage never opened: {one.seen[-200:]!r}"
        one.watch(0.5 * slack())
        before = path.read_text()
        if way == "by hand":
            before = before.replace("# loud", "# softer in the evening").replace("turn_minutes = 4", "turn_minutes = 6")
            path.write_text(before)
        if way == "two copies":
            with rig.coach(folder, *words) as two:
                if not two.sees("guide"):
                    return f"the second stage never opened: {two.seen[-200:]!r}"
                two.watch(0.5 * slack())
                two.press("y")  # a still page
                two.watch(0.5 * slack())
                two.press(QUIT)
                two.watch(15 * slack(), two.ended)
        changed = rng.random() < 0.5
        if changed:
            one.press("7")  # a softer click
            one.watch(0.5 * slack())
        one.press(QUIT)
        if not one.watch(15 * slack(), one.ended):
            return "ctrl-q did not end it"
    text = path.read_text()
    after = tomllib.loads(text)
    lines = [line for line in before.splitlines() if not line.startswith(("click_volume", "still_tab"))]
    if gone := [line for line in lines if line not in text.splitlines()]:
        return f"{way}: lost from the settings: {gone[0]!r}"
    if way == "two copies" and after.get("still_tab") is not True:
        return "two copies: what the second one changed is lost"
    if changed and not after["click_volume"] < 0.9:
        return f"{way}: what was changed in the coach is lost"
    if way == "nothing" and not changed and text != before:
        return "the settings were written anew though nothing was changed"
    return homes.first(homes.parts(home))


def opening(rng: Random, folder: Path) -> str | None:
    """The full screen opens on a spoilt home and says what is wrong there; ctrl-q leaves it."""
    from tests.campaign import mutate
    from tests.campaign.kinds import ledgers

    home = homes.make_home(folder)
    which = rng.choice(("ledger", "ledger", "ledger", "settings", "pattern", "song"))
    if which == "ledger":
        which += " " + ledgers.spoil(rng, home / "ledger.sqlite3")
    else:
        path = {"settings": "settings.toml", "pattern": "patterns/mine.toml", "song": "songs/ferry-bell.song.toml"}[
            which
        ]
        (home / path).write_bytes(mutate.toml(rng, (home / path).read_text()))
    before = homes.keep(home)
    # What a coach that was killed left half-written; no process has so high a number.
    for place in rng.sample((home, home / "patterns", home / "songs"), rng.randrange(3)):
        (place / f".{rng.choice(('settings.toml', 'x.song.toml', 'x.toml'))}.{2**30}.part").write_bytes(b"half")
    with rig.coach(folder) as app:
        opened = app.sees("min") or app.sees("quit", 2)
        app.watch(0.5 * slack())
        app.press(QUIT)
        left = app.watch(20 * slack(), app.ended)
        said = app.seen
    if "Traceback" in said:
        return f"a traceback on the screen ({which})"
    if not opened or not left or app.code != 0:
        state = "opened" if opened else "did not open"
        return f"it {state}, {'left' if left else 'did not leave'}, exit code {app.code} ({which}): {said[-120:]!r}"
    # Of settings that are written anew though nothing was changed, "copies-settings" tells.
    found = before.lost(() if which == "settings" else ("settings.toml",))
    found = homes.first(found, homes.parts(home), call(["patterns"], folder).code and "`coach patterns` fails")
    return found and f"{found} ({which})"


KINDS = (
    Kind("copies-ledger", ledger, real=True),
    Kind("copies-songs", songs, real=True),
    Kind("copies-settings", settings, real=True, seconds=150),
    Kind("opening", opening, real=True, seconds=150),
)

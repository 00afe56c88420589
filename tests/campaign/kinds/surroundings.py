"""Odd surroundings: files that are something else or not ours, closed streams, old locales, odd variables."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from random import Random

from tests.campaign import homes, rig
from tests.campaign.call import call, fault, start
from tests.campaign.kind import Kind, slack

ADD = ["log", "add", "--drill", "outside-in", "--tempo", "84", "--verdict", "held"]
COMMANDS = (
    ["today"], ["log"], ["drills"], ["doctor"], ["patterns"], ["song"], ["show", "mine"],
    ["song", "show", "ferry-bell"],
    ["song", "check", "home/songs/ferry-bell.song.toml"], ["song", "arrange", "ferry-bell", "--name", "new"], ADD,
    ["log", "export", "out.csv"], ["log", "merge", "home/ledger.sqlite3"], ["song", "due", "ferry-bell", "+9"],
    ["unpack", "home/ledger.sqlite3"], ["listen", "home/ledger.sqlite3", "--pattern", "mine", "--tempo", "80"],
    ["song", "import", "home/settings.toml"],
)  # fmt: skip
PLACES = (
    "ledger.sqlite3", "ledger.sqlite3", "ledger.sqlite3", "settings.toml", "patterns/mine.toml", "patterns",
    "songs/ferry-bell.song.toml", "songs", ".",
)  # fmt: skip
LOCALES = (
    ("en_US", "ISO-8859-1"),
    ("de_DE", "ISO-8859-15"),
    ("ja_JP", "EUC-JP"),
    ("ru_RU", "KOI8-R"),
    ("C", ""),
    ("POSIX", ""),
)
HOMES = (
    "", ".", "~nobody-here/x", "~", "a\nb", "x" * 5000, "home/settings.toml", "home/settings.toml/in", "deep/" * 60,
    "\udcff\udcfe",
    "\x1b[31mred", " ", "-home", "loop/x", "/dev/null", "/proc/none", "häm",
)  # fmt: skip


def files(rng: Random, folder: Path) -> str | None:
    """One of the player's files or folders is a loop, a pipe, empty, another kind of thing, or not to be read."""
    home = homes.make_home(folder)
    before = homes.keep(home)
    name = rng.choice(PLACES)
    path = (home / name).resolve()
    aside = folder / "aside"
    way = rng.choice(("mode", "mode", "loop", "pipe", "empty", "other", "dangling", "endless"))
    mode = path.stat().st_mode & 0o777
    if way == "mode":
        path.chmod(rng.choice((0, 0o200, 0o400, 0o100, 0o500)) if path.is_dir() else rng.choice((0, 0o200, 0o400)))
    else:
        path.rename(aside)
        match way:
            case "loop":
                path.symlink_to(path)
            case "pipe":
                os.mkfifo(path)
            case "empty":
                path.touch()
            case "other":
                path.mkdir() if aside.is_file() else path.write_text("not a folder")
            case "dangling":
                path.symlink_to(folder / "no" / "where")
            case _:
                path.symlink_to("/dev/zero")
    words = rng.choice(COMMANDS)
    found = fault(call(words, folder, cpu_s=12, ordinary=True))
    if way == "mode":
        path.chmod(mode)
        changed = ("songs/ferry-bell.song.toml",) if "arrange" in words else ()
        found = homes.first(found, before.lost(changed), homes.parts(folder))
    return found and f"{found} ({name}: {way})"


def streams(rng: Random, folder: Path) -> str | None:
    """Streams that are closed, full, or read by nobody."""
    homes.make_home(folder)
    words = rng.choice((*COMMANDS, ["--help"], [], ["song", "show", "nothing"], ["keysheet"], ["patterns", "--json"]))
    which, way = rng.choice(
        ((0, "closed"), (1, "closed"), (1, "closed"), (2, "closed"), (1, "full"), (2, "full"), (1, "nobody"))
    )
    more: dict[str, object] = {}
    if way == "closed":
        more["preexec_fn"] = lambda: os.close(which)
    elif way == "full":
        more["stdout" if which == 1 else "stderr"] = open("/dev/full", "w")  # noqa: SIM115 - closed with the process
    else:
        ours, theirs = os.pipe()
        os.close(ours)
        more["stdout"] = theirs
    said = start(words, folder, **more)
    found = None
    if which != 2:
        found = fault(said)
    elif said.code not in (0, 1, 2):
        found = f"coach {' '.join(words)}: exit code {said.code}"
    if not found and which == 1 and way == "full" and said.code == 0 and words != ["log", "add"] and not said.err:
        found = f"coach {' '.join(words)}: its answer could not be written, and it says nothing"
    return found and f"{found} ({('stdin', 'stdout', 'stderr')[which]} {way})"


def locales(rng: Random, folder: Path) -> str | None:
    """A locale that is not UTF-8, for a command and for the full screen."""
    homes.make_home(folder)
    language, charset = rng.choice(LOCALES)
    env = {"LC_ALL": language, "LANG": language, "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    if charset:
        place = Path(tempfile.gettempdir()) / f"coach-campaign-locales-{os.getuid()}"
        place.mkdir(exist_ok=True)
        if not (place / f"{language}.{charset}").is_dir():
            made = place / f"{os.getpid()}"
            subprocess.run(["localedef", "-i", language, "-f", charset, made], capture_output=True, check=False)
            made.rename(place / f"{language}.{charset}")
        env |= {"LOCPATH": str(place), "LC_ALL": f"{language}.{charset}"}
    said = start(
        rng.choice((["today"], ["song", "show", "ferry-bell"], ["keysheet"], ["patterns"], ["--help"])), folder, env=env
    )
    found = fault(said, codes=(0,))
    if not found and rng.random() < 0.5:
        with rig.coach(folder, *rng.choice(((), ("drill", "outside-in"))), env=env) as app:
            # It works, or says in a sentence what to set.
            opened = app.watch(25 * slack(), lambda: "all keys" in app.seen or app.ended())
            app.press("\x11")
            left = app.watch(15 * slack(), app.ended)
            if not opened or not left or "Traceback" in app.seen:
                what = "opened" if opened else "showed nothing"
                found = f"the screen {what} and ctrl-q {'left it' if left else 'did not leave it'}: {app.seen[-100:]!r}"
    return found and f"{found} ({env['LC_ALL']})"


def variables(rng: Random, folder: Path) -> str | None:
    """Odd values of what the environment says: the home, the zone, the width."""
    homes.make_home(folder)
    (folder / "loop").symlink_to("loop")
    env = {"COACH_HOME": rng.choice(HOMES)} if rng.random() < 0.6 else {}
    if rng.random() < 0.5:
        env["TZ"] = rng.choice(("", ":none", "XXX-99", "Asia/Kathmandu", "EST5EDT,M3.2.0,M11.1.0", "a" * 2000))
    if rng.random() < 0.5:
        env |= {"COLUMNS": rng.choice(("0", "1", "-5", "x", "99999")), "TERM": rng.choice(("", "dumb", "none"))}
    found = fault(call(rng.choice(COMMANDS[:8]), folder, env=env, cpu_s=12))
    shutil.rmtree(folder / "deep", ignore_errors=True)
    told = {k: v[:20] for k, v in env.items()}
    return found and f"{found} ({told!r})"


KINDS = (
    Kind("odd-files", files, share=1.5),
    Kind("streams", streams, real=True, share=0.7),
    Kind("locales", locales, real=True, needs=("localedef",), seconds=150),
    Kind("variables", variables, share=0.5),
)

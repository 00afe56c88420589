"""The player's settings: one small table of values, read from settings.toml and written back to it.

Reading never stops the coach: a value that cannot be used is told in one sentence with its line, and the usual
value serves instead. Keys this version does not know are told too. Of what is in the file only what was set otherwise
is written: comments, order and all that was written by hand or by another copy meanwhile stay.
"""

from __future__ import annotations

import difflib
import itertools
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from coach.errors import BadInput, BadMusic, CoachError, reason
from coach.files.lock import hold_file
from coach.files.reading import read_ordinary
from coach.files.toml_edit import Edit, literal
from coach.files.writing import new_file
from coach.music.clicks import CLICK_MODES
from coach.music.notes import read_range

GUIDES = {
    "on": "the layer being practised",
    "off": "nothing",
    "thumb": "the bass notes alone",
    "fingers": "all but the bass notes",
}
LOOKS = ("evening", "morning")
RAMPS = ("earned", "climb", "smooth", "alternate", "steady")
BARRES = ("full", "small", "none")
THINNING = {
    "arranged": "as the song's arrangement says",
    "early": "one bar before the words",
    "words": "with the words",
}


@dataclass(frozen=True)
class Settings:
    """What the player chose; each setting is explained below it. `Settings()` holds the usual values."""

    minutes: int = 20
    """How long today's practice is, in minutes (1 to 240)."""

    new_a_day: int = 1
    """How many patterns never practised before one day may bring (0 to 5)."""

    turn_minutes: int = 3
    """How long one drill goes on before the next takes its turn, in minutes (1 to 15)."""

    click_volume: float = 0.8
    """How loud the click is, 0 to 1 of its full level."""

    guide_volume: float = 0.6
    """How loud the guide guitar is, 0 to 1 of its full level."""

    click_mode: str = "beats"
    """Which beats click: `beats`, `backbeat`, `one`, `gaps` or `none`."""

    guide: str = "on"
    """What the guide guitar plays: `on` (the layer being practised), `off`, `thumb` or `fingers`."""

    bars_on: int = 2
    """With `gaps`: how many bars in a row click (1 to 16)."""

    bars_off: int = 2
    """With `gaps`: how many bars after them are silent (0 to 16)."""

    ramp: str = "earned"
    """How the tempo moves: `earned`, `climb`, `smooth`, `alternate` or `steady`."""

    humming: bool = False
    """True: the tune of a song is hummed along, where it is known."""

    thinning: str = "arranged"
    """When the picking thins for the voice: `arranged` (as the song's arrangement says), `early` (one bar before the
    words) or `words` (with them)."""

    ladder: bool = True
    """True: singing, a clean pass brings the next layer under the voice; False: the layer is held."""

    still_tab: bool = False
    """True: the page of tab stands still and only the cursor moves."""

    bell: bool = False
    """True: the terminal's bell clicks where there is no sound device."""

    look: str = "evening"
    """The colours: `evening` (light on dark) or `morning` (dark on light)."""

    midi_out: str = ""
    """The MIDI port that gets the same stream as the ear; empty for none."""

    offset_ms: float = 0.0
    """How much later than reckoned the sound reaches the ear, in milliseconds (-500 to 500)."""

    buffer_ms: int = 40
    """Length of one block handed to the sound card, in milliseconds (5 to 400); shorter is quicker and more fragile."""

    span_mm: float = 95.0
    """The longest stretch the fretting hand finds comfortable, along the neck, in millimetres (40 to 200)."""

    thumb_over: bool = False
    """True: the fretting hand's thumb comes over the neck to string 6."""

    barres: str = "full"
    """Which barres are welcome: `full` (up to six strings), `small` (up to three) or `none`."""

    scale_mm: float = 648.0
    """Length of the guitar's open strings from nut to bridge, in millimetres (400 to 800)."""

    voice: str = ""
    """What you sing in comfort, lowest and highest pitch, like `A2-D4`; empty while it is not known."""

    keys: Mapping[str, str] = field(default_factory=dict)
    """Keys the player moved: action -> key."""

    cautions_seen: bool = False
    """True once the cautions about hands and hearing were read."""


_USUAL = Settings()


@dataclass(frozen=True)
class ReadSettings:
    """Settings as they were read, and one sentence for each thing in the file that could not be used."""

    settings: Settings
    problems: tuple[str, ...] = ()


Check = Callable[[Any], bool]


def _number(low: float, high: float, *, whole: bool = True) -> tuple[Check, str]:
    said = f"give a {'whole ' if whole else ''}number from {low:g} to {high:g}"

    def fits(value: Any) -> bool:
        if isinstance(value, bool) or not isinstance(value, int if whole else int | float):
            return False
        return low <= value <= high

    return fits, said


def _one_of(choices: Mapping[str, str] | tuple[str, ...]) -> tuple[Check, str]:
    return lambda v: isinstance(v, str) and v in choices, "use one of " + ", ".join(choices)


_YES_NO: tuple[Check, str] = (lambda v: isinstance(v, bool), "write true or false")
_TEXT: tuple[Check, str] = (lambda v: isinstance(v, str), 'put it in quotation marks, "" for none')



def _a_range(value: Any) -> bool:
    if not isinstance(value, str):
        return False
    try:
        return not value or bool(read_range(value))
    except BadMusic:
        return False


# setting -> what may stand there, and how to mend what may not
_RULES: dict[str, tuple[Check, str]] = {
    "minutes": _number(1, 240),
    "new_a_day": _number(0, 5),
    "turn_minutes": _number(1, 15),
    "click_volume": _number(0, 1, whole=False),
    "guide_volume": _number(0, 1, whole=False),
    "click_mode": _one_of(CLICK_MODES),
    "guide": _one_of(GUIDES),
    "bars_on": _number(1, 16),
    "bars_off": _number(0, 16),
    "ramp": _one_of(RAMPS),
    "humming": _YES_NO,
    "thinning": _one_of(THINNING),
    "ladder": _YES_NO,
    "still_tab": _YES_NO,
    "bell": _YES_NO,
    "look": _one_of(LOOKS),
    "midi_out": _TEXT,
    "offset_ms": _number(-500, 500, whole=False),
    "buffer_ms": _number(5, 400),
    "span_mm": _number(40, 200, whole=False),
    "thumb_over": _YES_NO,
    "barres": _one_of(BARRES),
    "scale_mm": _number(400, 800, whole=False),
    "voice": (_a_range, 'write the lowest and highest pitch, like "A2-D4", "" for not known'),
    "keys": (
        lambda v: isinstance(v, dict) and all(isinstance(k, str) and k for k in v.values()),
        'write a table [keys] of lines like stumble = "x"',
    ),
    "cautions_seen": _YES_NO,
}


def parse_settings(text: str) -> ReadSettings:
    """Settings from the text of the file; what cannot be used is left at its usual value and told."""
    try:
        table = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        line = re.search(r"line (\d+)", str(error))
        place = f"line {line[1]}" if line else "the end of the file"
        return ReadSettings(Settings(), (f"{place}: this is not TOML, so the usual settings serve.",))
    good, problems = {}, []
    for key, value in table.items():
        place = f"line {_line_of(key, text)}: "
        if key not in _RULES:
            near = difflib.get_close_matches(key, _RULES, n=1)
            hint = f"did you mean '{near[0]}'?" if near else "it is left alone."
            problems.append(f"{place}{_shown(' '.join(key.split()))} is not a setting known here; {hint}")
        elif not _RULES[key][0](value):
            problems.append(f"{place}{key} = {_shown(value)} cannot be; {_RULES[key][1]}.")
        else:
            good[key] = value
    return ReadSettings(Settings(**good), tuple(problems))


def _line_of(key: str, text: str) -> int:
    """The line (from 1) on which a key or a table of the top level stands."""
    word = re.escape(key)
    here = re.compile(rf"""\s*(\[+\s*)?["']?{word}["']?\s*[\].=]""")
    return next((n for n, line in enumerate(text.splitlines(), start=1) if here.match(line)), 1)


def _shown(value: object) -> str:
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


def settings_table(settings: Settings) -> dict[str, Any]:
    """All settings as plain values, the way the file holds them, so that the file shows what can be set."""
    return {
        f.name: dict(settings.keys) if f.name == "keys" else getattr(settings, f.name) for f in fields(Settings)
    }


def read_settings(path: Path) -> ReadSettings:
    """Read the file; when there is none, the usual settings. A file that cannot be read is told, not raised."""
    try:
        text = read_ordinary(path).decode("utf-8")
    except FileNotFoundError:
        return ReadSettings(Settings())
    except UnicodeDecodeError:
        return ReadSettings(Settings(), (f"{path}: this is not a text file, so the usual settings serve.",))
    except OSError as error:
        why = reason(error)
        return ReadSettings(Settings(), (f"{path}: cannot be read ({why}), so the usual settings serve.",))
    found = parse_settings(text)
    return ReadSettings(found.settings, tuple(f"{path}: {problem}" for problem in found.problems))


def write_settings(settings: Settings, path: Path, *, before: Settings = _USUAL) -> None:
    """Write what is set otherwise than in `before`, what was read at first, into the file as it stands by now.

    All else in the file stays as it is written there, and where nothing was set otherwise the file is not touched. A
    new file shows the usual values too, as comments. A file that is not TOML is copied to `settings.toml.old` first,
    numbered when there is one already; then all that is not as usual is written. The file is written beside its place
    and then moved there, so that a crash leaves the old or the new one whole. Raises CoachError when the place cannot
    be written.
    """
    changes = _differences(settings, before)
    if not changes:
        return
    try:
        path = path.resolve()  # where it is a link, what it leads to is written
        path.parent.mkdir(parents=True, exist_ok=True)
        with hold_file(path, "the settings"):
            raw = read_ordinary(path) if path.exists() else _usual_values().encode()
            edit = _read(raw)
            if edit is None:
                _keep_copy(raw, path)
                edit, changes = Edit(_usual_values()), _differences(settings, _USUAL)
            for key, value in changes.items():
                edit.put((key,), value)
            new = edit.done().encode()
            with new_file(path, "the settings", force=True) as out:
                out.write(new)
    except (OSError, RuntimeError) as error:
        why = reason(error) if isinstance(error, OSError) else "its links lead round in a circle"
        raise CoachError(
            f"the settings could not be saved ({why})",
            where=str(path),
            mend="check that the folder can be written and has room",
        ) from None


def _differences(settings: Settings, before: Settings) -> dict[str, Any]:
    """What is set otherwise than before, as plain values."""
    old = settings_table(before)
    return {key: value for key, value in settings_table(settings).items() if value != old[key]}


def _usual_values() -> str:
    """Comments that show what can be set."""
    lines = (f"# {key} = {literal(value)}" for key, value in settings_table(_USUAL).items())
    return "\n".join(["# Behind each # stands the usual value; what is set otherwise stands below.", *lines, "\n"])


def _read(raw: bytes) -> Edit | None:
    """The file's text, to be changed; None where it is not TOML."""
    try:
        return Edit(raw.decode("utf-8"))
    except (UnicodeDecodeError, BadInput):
        return None


def _keep_copy(raw: bytes, path: Path) -> None:
    """The content beside the file, in a place where nothing stands yet."""
    names = (f"{path.name}.old{number if number > 1 else ''}" for number in itertools.count(1))
    aside = next(place for place in map(path.with_name, names) if not place.exists())
    with new_file(aside, "the old settings") as out:
        out.write(raw)

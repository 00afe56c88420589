"""One table of all that a key can do: it makes the bindings, the help page and the hints, and keys can be moved.

Keys that work in every terminal: letters, digits, arrows, space, enter, escape, page up and page down (which
is what many foot pedals send).
"""

from __future__ import annotations

import difflib
import string
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from textual.binding import Binding, BindingType
from textual.keys import KEY_NAME_REPLACEMENTS, Keys


@dataclass(frozen=True)
class Action:
    """`id` names it in the settings' `[keys]`, `deed` is the screen's action, `says` what it does in a few words."""

    id: str
    keys: str
    deed: str
    says: str
    hint: str = ""


STAGE = (
    Action("start", "enter", "start_stop", "start, stop, go on", "start/stop"),
    Action("stumble", "space,pageup", "stumble", "mark a stumble as it happens (starts when nothing runs)", "stumble"),
    Action("next", "pagedown", "next", "start; while it runs, end the block; then on to the next", "next"),
    Action("slower", "left", "tempo(-1)", "1 bpm slower", "tempo"),
    Action("faster", "right", "tempo(1)", "1 bpm faster"),
    Action("slower-4", "down", "tempo(-4)", "4 bpm slower"),
    Action("faster-4", "up", "tempo(4)", "4 bpm faster"),
    Action("sing", "s", "sing", "sing: thumb alone from the next bar line, and back", "sing"),
    Action("thinner", "t", "layer(-1)", "thinner: one layer down", "thinner"),
    Action("fuller", "f", "layer(1)", "fuller: one layer up", "fuller"),
    Action("ladder", "l", "ladder", "singing: let clean passes bring the next layer under the voice, or hold it"),
    Action("early", "a", "early", "singing: thin the picking one bar before the words, or with them"),
    Action("hum", "v", "hum", "hum the tune, where it is known"),
    Action("repeat", "r", "repeat", "begin this pass again", "again"),
    Action("hold", "h", "hold", "hold the ramp here, or let it go on", "hold"),
    Action("ramp", "m", "ramp", "next kind of ramp", "ramp"),
    Action("click", "c", "click", "next way to click", "click"),
    Action("guide", "g", "guide", "next choice of guide notes", "guide"),
    Action("click-softer", "7", "volume('click', -1)", "click softer"),
    Action("click-louder", "8", "volume('click', 1)", "click louder"),
    Action("guide-softer", "9", "volume('guide', -1)", "guide softer"),
    Action("guide-louder", "0", "volume('guide', 1)", "guide louder"),
    Action("still", "y", "still", "tab glides, or stands still under a moving cursor"),
    Action("bell", "b", "bell", "terminal bell as a click when there is no sound"),
    Action("end", "e", "end", "end the block after this bar", "end"),
    Action("rest", "p", "rest", "put the guitar down for five minutes after this pass, then go on"),
    Action("stop-hurt", "o", "hurt", "it hurts: stop everything and write it down"),
    Action("leave", "escape", "leave", "leave the stage"),
)
TODAY = (
    Action("begin", "enter,space,pagedown", "begin", "begin at the chosen block", "begin"),
    Action("less", "left", "minutes(-5)", "five minutes less", "minutes"),
    Action("more", "right", "minutes(5)", "five minutes more"),
    Action("patterns", "p", "patterns", "all patterns", "patterns"),
    Action("songbook", "b", "songbook", "the songbook: songs, how far each part is, days they are wanted by", "songs"),
    Action("progress", "g", "progress", "how each drill has gone, and where it breaks", "progress"),
    Action("desk", "d", "desk", "the desk: keys, shapes and the way through a progression", "desk"),
    Action("settings", "o", "settings", "settings", "settings"),
    Action("plan-pin", "k", "wish('pin')", "keep the chosen drill in today's plan", "keep"),
    Action("plan-skip", "x", "wish('skip')", "leave the chosen drill out today", "leave out"),
    Action("plan-swap", "w", "swap", "another drill in the place of the chosen one", "swap"),
    Action("plan-short", "e", "shorten", "end today with the chosen block"),
    Action("plan-undo", "u", "undo", "take back the latest of these wishes, or a slip of the pain key"),
    Action("plan-again", "r", "plan_again", "make the plan anew"),
    Action("quit", "q,escape", "quit_coach", "leave the coach", "quit"),
)
PATTERNS = (
    Action("play-pattern", "enter,space", "play", "play the chosen pattern", "play"),
    Action("pattern-layer", "f", "layer(1)", "see a fuller layer", "layer"),
    Action("pattern-thinner", "t", "layer(-1)", "see a thinner layer"),
    Action("pattern-export", "w", "export", "write a sheet, a track or a pack", "write"),
    Action("back", "escape,q", "back", "back", "back"),
)
PROGRESS = (
    Action("play-drill", "enter,space", "play", "play the chosen drill", "play"),
    Action("take-remedy", "r", "remedy", "take up its remedy and play it", "remedy"),
    Action("drop-remedy", "x", "drop", "drop the remedy under way"),
    Action("view-before", "left", "view(-1)", "the side before: tempo, places, days, what is kept", "side"),
    Action("view-after", "right", "view(1)", "the next side"),
    Action("progress-back", "escape,q", "back", "back", "back"),
)
CHOICE = (
    Action("choose-this", "enter,space", "take", "take the chosen one", "take"),
    Action("choose-none", "escape,q", "back", "back", "back"),
)
DESK = (
    Action("desk-edit", "e", "edit", "type another progression, key or voice", "type"),
    Action("chord-before", "left", "chord(-1)", "the chord before", "chord"),
    Action("chord-after", "right", "chord(1)", "the chord after"),
    Action("shape-easier", "up", "shape(-1)", "an easier shape for this chord"),
    Action("shape-harder", "down", "shape(1)", "the next shape for this chord", "shape"),
    Action("desk-play", "space,enter", "play", "play the route, or stop", "play"),
    Action("desk-loop", "l", "only", "only this chord, round and round, or all of them", "this chord"),
    Action("desk-pattern", "n", "pattern(1)", "the next picking pattern", "pattern"),
    Action("desk-pattern-before", "b", "pattern(-1)", "the picking pattern before"),
    Action("desk-slower", "t", "tempo(-4)", "4 bpm slower"),
    Action("desk-faster", "f", "tempo(4)", "4 bpm faster"),
    Action("desk-key", "k", "take_key(1)", "take the next of the ranked keys", "key"),
    Action("desk-key-before", "j", "take_key(-1)", "take the ranked key before"),
    Action("desk-stand-in", "s", "stand_in", "the next easier stand-in for this chord, and back", "stand-in"),
    Action("desk-free", "c", "free", "let the route choose this chord's shape again"),
    Action("desk-hardest", "m", "hardest", "ease the hardest change first, or the sum", "hardest"),
    Action("desk-export", "w", "export", "write a sheet or a track of it", "write"),
    Action("desk-back", "escape,q", "back", "back", "back"),
)
ARRANGING = (
    Action("arr-bar-before", "up", "bar(-1)", "the bar before"),
    Action("arr-bar-after", "down", "bar(1)", "the bar after"),
    Action("arr-part-before", "pageup", "part(-1)", "the part before"),
    Action("arr-part-after", "pagedown", "part(1)", "the part after"),
    Action("arr-chord-before", "left", "chord(-1)", "the chord before in this bar"),
    Action("arr-chord-after", "right", "chord(1)", "the chord after in this bar"),
    Action("arr-play", "space", "play", "hear it, or stop", "hear"),
    Action("arr-stage", "g", "stage", "to the stage with what is heard: bar's part or whole song", "stage"),
    Action("arr-pattern", "enter,p", "pattern", "choose a pattern from the list", "pattern"),
    Action("arr-scope", "v", "scope", "where the next choice holds: bar, chord, part, song", "where"),
    Action("arr-shape-after", "d", "shape(1)", "the next shape for this chord", "shape"),
    Action("arr-shape-before", "e", "shape(-1)", "an easier shape for this chord"),
    Action("arr-stand-in", "s", "stand_in", "the next easier stand-in for this chord, and back", "stand-in"),
    Action("arr-other", "o", "other", "the other arrangement", "other tier"),
    Action("arr-key", "k", "key", "choose another key and capo", "key"),
    Action("arr-voice", "y", "voice", "say what you sing in comfort: both tiers in a key for it", "voice"),
    Action("arr-free", "c", "free", "take back what you chose there"),
    Action("arr-pattern-next", "n", "step(1)", "the next pattern of this meter"),
    Action("arr-pattern-last", "b", "step(-1)", "the pattern of this meter before"),
    Action("arr-thinner", "t", "singing(-1)", "thinner picking under the words"),
    Action("arr-fuller", "f", "singing(1)", "fuller picking under the words"),
    Action("arr-early", "a", "early", "thin the picking one bar before the words, or with them"),
    Action("arr-melody", "m", "melody", "propose with the tune on the top strings, or without"),
    Action("arr-anew", "r", "propose(True)", "propose anew; what you chose stays"),
    Action("arr-afresh", "x", "propose(False)", "propose anew, and let go of what you chose"),
    Action("arr-span", "l", "span", "what is heard: this bar, its part, the whole song"),
    Action("arr-slower", "7", "tempo(-4)", "4 bpm slower"),
    Action("arr-faster", "8", "tempo(4)", "4 bpm faster"),
    Action("arr-chart", "h", "chart", "change the chart", "chart"),
    Action("arr-export", "w", "export", "write a sheet, a track or a pack", "write"),
    Action("arr-undo", "u", "undo", "take the last change back", "undo"),
    Action("arr-redo", "z", "redo", "make it again"),
    Action("arr-back", "escape,q", "back", "back", "back"),
)
CHART = (
    Action("chart-up", "up", "row(-1)", "the row above"),
    Action("chart-down", "down", "row(1)", "the row below"),
    Action("chart-part-before", "pageup", "part(-1)", "the part before"),
    Action("chart-part-after", "pagedown", "part(1)", "the part after"),
    Action("chart-left", "left", "column(-1)", "the column before: chords, words, tune, beats"),
    Action("chart-right", "right", "column(1)", "the column after"),
    Action("chart-type", "enter", "type", "type here", "type"),
    Action("chart-insert", "i", "insert", "a bar before this one", "bar"),
    Action("chart-delete", "x", "delete", "take out this bar; on a part's name, the part", "take out"),
    Action("chart-new-part", "n", "new_part", "a new part", "part"),
    Action("chart-copy-part", "c", "copy_part", "a part with the same bars and no words", "same chords"),
    Action("chart-order", "o", "order", "the order of the parts", "order"),
    Action("chart-hold", "h", "way('hold')", "held: each chord is plucked once and rings; and back", "hold"),
    Action("chart-silent", "s", "way('silent')", "silent: nobody plays; and back", "silent"),
    Action("chart-pick-up", "b", "beats", "beats of this bar: a pick-up is a short first bar"),
    Action("chart-undo", "u", "undo", "take the last change back", "undo"),
    Action("chart-redo", "z", "redo", "make it again"),
    Action("chart-arrange", "g", "arrange", "arrange it for the guitar", "arrange"),
    Action("chart-export", "w", "export", "write a sheet, a track or a pack"),
    Action("chart-back", "escape,q", "back", "back", "back"),
)
EXPORT = (
    Action("export-before", "up", "kind(-1)", "the kind of file before"),
    Action("export-after", "down", "kind(1)", "the next kind of file", "kind"),
    Action("export-write", "enter", "write", "write it", "write"),
    Action("export-name", "n", "name", "another name or folder", "name"),
    Action("export-paper", "p", "paper", "A4 or Letter", "paper"),
    Action("export-slower", "left", "share(-5)", "a slower track, in steps of 5 per cent"),
    Action("export-faster", "right", "share(5)", "a faster track"),
    Action("export-fewer", "b", "rounds(-1)", "fewer times round"),
    Action("export-more", "r", "rounds(1)", "more times round"),
    Action("export-sing", "s", "sing", "a song as it is sung, thinned under the words, or all of it"),
    Action("export-up", "pageup", "scroll(-1)", "further up in the preview"),
    Action("export-down", "pagedown", "scroll(1)", "further down in the preview"),
    Action("export-back", "escape,q", "back", "back; while it writes, stop it", "back"),
)
SONGBOOK = (
    Action("song-play", "enter,space", "play", "play the chosen part", "play"),
    Action("song-sing", "s", "sing('sing')", "sing it, with the picking thinned under the words", "sing"),
    Action("song-speak", "k", "sing('spoken')", "speak its words in rhythm over the thumb", "speak"),
    Action("song-sing-full", "f", "sing('sing-full')", "sing it over all of the picking"),
    Action("song-parts", "right", "side(1)", "to the parts of the song", "parts"),
    Action("song-list", "left", "side(-1)", "back to the songs"),
    Action("song-other", "o", "other", "the other arrangement", "other tier"),
    Action("song-arrange", "a", "arrange", "its arrangements; a song without any gets two", "arrange"),
    Action("song-day", "d", "day", "the day it must be ready by: a lesson, an evening", "day"),
    Action("song-take-up", "u", "take_up", "take it up: it comes into today's plans", "take up"),
    Action("song-rest", "r", "rest", "put it to rest, or bring it back", "rest"),
    Action("song-chart", "h", "chart", "change its chart", "chart"),
    Action("song-export", "w", "export", "write a sheet, a track or a pack", "write"),
    Action("song-new", "n", "new", "a new song", "new"),
    Action("song-import", "i", "bring_in", "bring in a lead sheet from a MusicXML file", "bring in"),
    Action("song-back", "escape,q", "back", "back", "back"),
)
VERDICT = (
    Action("lost", "l", "verdict('lost')", "lost: it fell apart"),
    Action("shaky", "s", "verdict('shaky')", "shaky: it held here and there"),
    Action("held", "h", "verdict('held')", "held: it went, with care"),
    Action("flowing", "f", "verdict('flowing')", "flowing: the hand ran by itself"),
    Action("take-suggested", "enter,space,pagedown", "suggested", "take the marked one"),
    Action("another-go", "r", "again", "another go at this block"),
    Action("no-word", "escape", "no_word", "say nothing; the passes speak"),
)
REST = (
    Action("go-on", "enter,space,pagedown", "go_on", "go on"),
    Action("rest-long", "p", "long", "rest for five minutes"),
    Action("enough", "escape,q", "enough", "enough for now"),
)
EVERYWHERE = (
    Action("help-or-sign", "question_mark", "help_or_sign", "all keys; while you type, itself", "all keys"),
    Action("help", "f1", "help", "all keys, and the cautions"),
    Action("suspend", "ctrl+z", "pause_coach", "to the shell and back (fg)"),
    Action("quit-now", "ctrl+c,ctrl+q", "quit_now", "leave at once"),
)
PAGES = {
    "On the stage": STAGE,
    "Today": TODAY,
    "Patterns": PATTERNS,
    "The songbook": SONGBOOK,
    "Progress": PROGRESS,
    "Choosing": CHOICE,
    "The desk": DESK,
    "An arrangement": ARRANGING,
    "A chart": CHART,
    "Writing files": EXPORT,
    "After a block": VERDICT,
    "Resting": REST,
    "Everywhere": EVERYWHERE,
}


def _long_name(character: str) -> str:
    """The name under which the screen library knows the key of a character: `?` is question_mark."""
    if character.isalnum():
        return character
    name = unicodedata.name(character, character).lower().replace("-", "_").replace(" ", "_")
    return KEY_NAME_REPLACEMENTS.get(name, name)


_KEY_NAMES = {key.value for key in Keys} | {_long_name(char) for char in string.printable if char.isprintable()}
_NAMES = {
    "enter": "⏎",
    "space": "space",
    "left": "←",
    "right": "→",
    "up": "↑",
    "down": "↓",
    "pageup": "page up",
    "pagedown": "page down",
    "question_mark": "?",
    "escape": "esc",
    "ctrl+z": "ctrl-z",
    "ctrl+c": "ctrl-c",
    "ctrl+q": "ctrl-q",
    "f1": "F1",
}


def usable_keys(moved: Mapping[str, str]) -> tuple[dict[str, str], tuple[str, ...]]:
    """The player's own keys that can be had, and one sentence for each line that cannot: it keeps its usual keys.

    A line is of no use when its action is unknown, its key is none, or its key does something else on the same page.
    """
    known = {action.id: action for action in all_actions()}
    usable: dict[str, str] = {}
    problems = []
    for name, keys in moved.items():
        line = f'settings, [keys] {name} = "{keys}"'
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            hint = f"; did you mean {near[0]}?" if near else ", and is left alone."
            problems.append(f"{line}: this is no action{hint}")
        elif strange := [key for key in _split(keys) if not _is_key(key)]:
            problems.append(f"{line}: '{strange[0]}' is no key; give a letter, a digit or a name like f5 or pagedown.")
        else:
            usable[name] = ",".join(_split(keys))
    while clash := _clash(usable):
        name, key, other = clash
        line = f'settings, [keys] {name} = "{usable.pop(name)}"'
        problems.append(f"{line}: {_NAMES.get(key, key)} is taken ({other.says}), so the usual keys stay.")
    return usable, tuple(problems)


def _clash(moved: Mapping[str, str]) -> tuple[str, str, Action] | None:
    """A moved action, the key it cannot have, and the action that has it; the last such line first."""
    for page in PAGES.values():
        on_page = page if page is EVERYWHERE else (*page, *EVERYWHERE)
        taken: dict[str, Action] = {}
        # What was not moved stands; of two lines that want one key the first has it.
        for action in sorted(on_page, key=lambda a: [*moved].index(a.id) if a.id in moved else -1):
            for key in _split(moved.get(action.id, action.keys)):
                if taken.setdefault(key, action) is not action:
                    return action.id, key, taken[key]
    return None


def _split(keys: str) -> list[str]:
    """Key names, a single character by its long name."""
    return [_long_name(key) if len(key) == 1 else key for key in (k.strip() for k in keys.split(","))]


def _is_key(key: str) -> bool:
    """True for a key that a terminal can send: a character, or one of Textual's names."""
    bare = key.removeprefix("ctrl+").removeprefix("shift+")
    return key in _KEY_NAMES or (bare in _KEY_NAMES and bare != key) or (len(key) == 1 and key.isprintable())


def bindings(actions: Iterable[Action], *, priority: bool = False) -> list[BindingType]:
    """The bindings of a screen."""
    return [Binding(a.keys, a.deed, a.says, id=a.id, show=False, priority=priority) for a in actions]


def all_actions() -> tuple[Action, ...]:
    """Every action, page by page."""
    return tuple(action for page in PAGES.values() for action in page)


def keys_shown(action: Action, moved: Mapping[str, str]) -> str:
    """The keys of an action as a person reads them, after the player's own choice."""
    return " or ".join(_NAMES.get(key, key) for key in moved.get(action.id, action.keys).split(","))


def hints(actions: Iterable[Action], moved: Mapping[str, str], width: int) -> str:
    """As many hints as fit in `width` cells: `⏎ start/stop  space stumble`."""
    help_page = EVERYWHERE[0]
    text = ""
    last = f"{first_key(help_page, moved)} {help_page.hint}"  # the one hint that leads to all the others
    for action in actions:
        if not action.hint:
            continue
        both = action.id in ("slower", "less", "view-before") and action.id not in moved
        piece = f"{'←→' if both else first_key(action, moved)} {action.hint}"
        if len(text) + len(piece) + len(last) + 4 <= width:
            text += f"{piece}  "
    return text + last


def action(name: str) -> Action:
    """The action with this id. Raises KeyError."""
    return {known.id: known for known in all_actions()}[name]


def first_key(action: Action, moved: Mapping[str, str]) -> str:
    """The key to name where there is room for one."""
    key = moved.get(action.id, action.keys).split(",")[0]
    return _NAMES.get(key, key)

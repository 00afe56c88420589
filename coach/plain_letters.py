"""Signs that a terminal's letters lack, written with those every terminal has: as wide as they are, so columns hold.

For a terminal whose locale is not UTF-8. Importing this registers the way under the name `PLAIN`, to be given as
`errors` wherever text is turned into bytes.
"""

from __future__ import annotations

import codecs
import unicodedata

PLAIN = "coach-plain"
_STAND_INS = {
    **dict.fromkeys("─━═╌╍┄┅┈┉╴╶╸╺‐‑‒–—―−▔▁▂", "-"),
    **dict.fromkeys("│┃║╎╏┆┇┊┋╵╷╹╻▏▎▍▌▐▕❘", "|"),
    **dict.fromkeys("█▉▊▋▇▆▅▄▃▀▓▒▙▟▛▜■◼▪●⬤◉", "#"),
    **dict.fromkeys("░·•∙⋅◦▖▗▘▝", "."),
    **dict.fromkeys("○◯◌", "o"),
    **dict.fromkeys("‘’‚′‵ʼ", "'"),
    **dict.fromkeys("“”„″«»", '"'),
    **dict.fromkeys("←◀◂‹⟵", "<"),
    **dict.fromkeys("→▶▸›⟶➜", ">"),
    **dict.fromkeys("↑▲▴⇧", "^"),
    **dict.fromkeys("↓▼▾⇩", "v"),
    **dict.fromkeys("✓✔", "+"),
    **dict.fromkeys("×✕✖✗✘", "x"),
    "…": ".",
    "♭": "b",
    "♯": "#",
    "♮": "n",
    "≤": "<",
    "≥": ">",
    "≈": "~",
    "±": "~",
    "°": "o",
}
_DRAWN = range(0x2500, 0x2580)  # corners and crossings of lines
_DOTS = range(0x2800, 0x2900)  # patterns of raised dots, in which curves are drawn


def plain(sign: str) -> str:
    """The stand-in of one sign: a letter without its accent, a line as a stroke, else a question mark."""
    if sign in _STAND_INS:
        return _STAND_INS[sign]
    if ord(sign) in _DRAWN:
        return "+"
    if ord(sign) in _DOTS:
        return " " if ord(sign) == _DOTS.start else ":"
    if unicodedata.combining(sign):  # stands over another one and takes no column
        return ""
    bare = unicodedata.normalize("NFKD", sign)[:1]
    if bare.isascii() and bare.isprintable():
        return bare
    return "??" if unicodedata.east_asian_width(sign) in "WF" else "?"


def _stand_in(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(map(plain, error.object[error.start : error.end])), error.end


codecs.register_error(PLAIN, _stand_in)

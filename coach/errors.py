"""The one tree of errors: each says what is wrong, where, and how to mend it.

CoachError                    exit code 1: the thing asked could not be done
└── BadInput                  exit code 2: something the player gave cannot be used
    ├── BadMusic              a note, chord, meter, key or tempo that cannot be read
    ├── BadShape              a left-hand shape or tuning that cannot be read
    └── BadPattern            a picking pattern (or its file) that cannot be used
"""

from __future__ import annotations

import errno
import re

MOST_LETTERS = 300
"""No sentence is longer; what it repeats of what the player wrote gives way first, then how to mend it, then where."""

_LONGEST = 120  # letters without a blank that a sentence repeats of what the player wrote
_LEAST = 90  # letters that each of the three keeps
_REASONS = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk is full: your share of it is used up",
    errno.EIO: "the disk fails: input/output error",
    errno.ELOOP: "its links lead round in a circle",
}
_HEARD_BY_TERMINALS = re.compile(r"[\x00-\x08\x0e-\x1b\x7f-\x9f]")


def reason(error: OSError) -> str:
    """What the system reports, in words for the player."""
    return _REASONS.get(error.errno or 0) or error.strerror or str(error)


class CoachError(Exception):
    """Something could not be done; `str(error)` is one clear sentence for the player."""

    exit_code = 1

    def __init__(self, what: str, *, where: str = "", mend: str = "") -> None:
        self.what = what
        self.where = where
        self.mend = mend
        super().__init__(what, where, mend)

    def __str__(self) -> str:
        """`WHERE: WHAT; HOW TO MEND IT.` on one line of at most `MOST_LETTERS`, without signs that steer a terminal."""
        where, what, mend = (" ".join(text.split()) for text in (self.where, self.what, self.mend))
        what = " ".join(w if len(w) <= _LONGEST else f"{w[:40]}…{w[-10:]}" for w in what.split())
        room = MOST_LETTERS - len(": ; .")
        what = shortened(what, max(room - len(where) - len(mend), _LEAST))
        mend = shortened(mend, max(room - len(where) - len(what), _LEAST))
        where = shortened(where, room - len(what) - len(mend))
        head = f"{where}: " if where else ""
        tail = f"; {mend}" if mend else ""
        said = without_control_signs(f"{head}{what}{tail}".rstrip("."))
        return said if said.endswith("?") else said + "."

    def at(self, where: str) -> CoachError:
        """The same error with a place put in front of the one it has."""
        full = f"{where}: {self.where}" if self.where else where
        return type(self)(self.what, where=full, mend=self.mend)


class BadInput(CoachError):
    """Something given by the player cannot be used."""

    exit_code = 2


class BadMusic(BadInput):
    """A note, chord, meter, key or tempo that cannot be read."""


class BadShape(BadInput):
    """A left-hand shape or a tuning that cannot be read or does not fit."""


class BadPattern(BadInput):
    """A picking pattern, or the file it stands in, that cannot be used."""


def without_control_signs(text: str) -> str:
    """`text` with a question mark for each sign that would steer a terminal."""
    return _HEARD_BY_TERMINALS.sub("?", text)


def shortened(text: str, most: int) -> str:
    """`text` in at most `most` letters (from 3 up), its middle left out where it is longer."""
    if len(text) <= most:
        return text
    kept = most - len(" … ")
    return f"{text[: kept - kept // 3].rstrip()} … {text[len(text) - kept // 3 :].lstrip()}"

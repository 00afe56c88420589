"""The kinds of notes in the ledger. The texts stand in players' ledgers and never change."""

from __future__ import annotations

from enum import StrEnum


class NoteKind(StrEnum):
    """What a note says. A ledger may hold notes of other kinds too: they are kept and passed over.

    PAIN                it hurt while something was played; its text is the title
    PAIN_BY_MISTAKE     the pain noted last was a slip of the key
    WISH                a wish about today's plan, as JSON (plan/wishes.py)
    LISTENED            a drill was listened to; its text is the drill's id
    RECORDING           a take was heard from a recording; its text is the recording's digest
    SONG_SETTLED        a song was taken up, wanted by a day or put to rest, as JSON (drills/song_choices.py)
    REMEDY_CHOSEN       a remedy was taken up for a drill, as JSON (skill/remedies.py)
    REMEDY_DROPPED      and dropped
    OTHER_CHORDS        its take was played on other chords than its drill's, which are its text
    SECONDS_BESIDE      seconds its take was played for beside whole passes
    PUT_ASIDE           rows that cannot be read and are not told of any more, as JSON (log/readable_rows.py)
    """

    PAIN = "pain reported"
    PAIN_BY_MISTAKE = "pain key by mistake"
    WISH = "plan wish"
    LISTENED = "heard"
    RECORDING = "heard from a recording"
    SONG_SETTLED = "song settled"
    REMEDY_CHOSEN = "remedy chosen"
    REMEDY_DROPPED = "remedy dropped"
    OTHER_CHORDS = "other chords"
    SECONDS_BESIDE = "seconds beside whole passes"
    PUT_ASIDE = "put aside"

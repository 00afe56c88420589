"""How the stage is laid out: narrow, low and tall windows, and the style sheet."""

from __future__ import annotations

# Narrower than NARROW there is room for one shape only; from WIDE on there is room to spare; with fewer rows than
# ALL_ROWS not all that is said fits (SONG_ROWS where there are words); below SHORT the words under the tab give way;
# from LARGE_WORDS on words are written large, from LARGEST_WORDS on the next line too; from TALL on the strings have
# air between them.
NARROW, WIDE, ALL_ROWS, SONG_ROWS, TALL = 76, 104, 23, 27, 36
SHORT, LARGE_WORDS, LARGEST_WORDS = 24, 30, 42


def size_classes(width: int, height: int, *, worded: bool) -> dict[str, bool]:
    """Which of the style sheet's classes a window of this size has.

    In a `low` one what there is to say takes the place of layer and click until the next key.
    """
    return {
        "tall": height >= TALL,
        "narrow": width < NARROW,
        "wide": width >= WIDE,
        "low": height < (SONG_ROWS if worded else ALL_ROWS),
        "short": height < SHORT,
        "large": height >= LARGE_WORDS,
        "largest": height >= LARGEST_WORDS,
    }


LOOK = """
Stage { layout: vertical; background: $background; overflow: hidden; }
#above { height: auto; }
#below { height: 1fr; min-height: 3; }
#head { height: 1; background: $panel; color: $foreground; padding: 0 1; }
#figures { height: 8; padding: 0 1; }
#tempo { width: 26; }
#place { width: 1fr; }
#bpm { color: $primary; height: 5; }
#where { color: $foreground; height: 5; }
.small { color: $foreground 75%; height: 1; }
#ramp { height: 2; }
.shape { width: 15; height: 8; color: $foreground; }
#following { color: $foreground 55%; }
#spoken { color: $accent; text-style: bold; height: 1; }
#listen { color: $accent; height: 3; display: none; }
#tab { height: 10; }
#ladder { height: 1; padding: 0 1; color: $foreground; }
#modes { height: 1; padding: 0 1; color: $foreground 75%; }
#say { height: auto; min-height: 1; max-height: 2; padding: 0 1; color: $warning; }
#keys { dock: bottom; height: 1; padding: 0 1; background: $panel; color: $foreground 80%; }
#history { height: 1; padding: 0 2; color: $foreground 75%; display: none; }
Stage.song #pass { height: 2; }
Stage.worded #tab { height: 11; }
Stage.worded #below { min-height: 2; }
#words { height: 2; padding: 0; }
Stage.large #words { height: 5; }
Stage.largest #words { height: 8; }
Stage.short #words { height: 1; }
Stage.worded.short #tab { height: 10; }
Stage.narrow #tempo { width: 23; }
Stage.narrow #following { display: none; }
Stage.listens #figures { height: 9; }
Stage.listens #listen { display: block; }
Stage.listens #spoken, Stage.listens #ladder, Stage.listens #following { display: none; }
Stage.listens.wide #following { display: block; }
Stage.listens.narrow #now { display: none; }
Stage.listens #pass { height: 1; }
Stage.listens #below { min-height: 2; }
Stage.listens.worded #tab { height: 10; }
Stage.listens.worded.short #figures { height: 8; }
Stage.listens.worded.short #pass { display: none; }
Stage.low #say { display: none; }
Stage.low.saying #say { display: block; }
Stage.low.saying #modes, Stage.low.saying #ladder { display: none; }
Stage.tall #figures { height: 10; padding: 1 2; }
Stage.listens.tall #figures { height: 11; }
Stage.tall.wide #tempo { width: 40; }
Stage.tall #tab { height: 2fr; max-height: 20; margin: 1 0; }
Stage.tall #history { display: block; }
Stage.tall #ladder, Stage.tall #modes, Stage.tall #say { padding: 0 2; }
"""

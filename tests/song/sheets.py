"""Lead sheets written for tests: a few lines become the text of a MusicXML file."""

from __future__ import annotations

from collections.abc import Sequence

HEAD = """<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">
<score-partwise version="4.0"><work><work-title>{title}</work-title></work>
<part-list><score-part id="P1"><part-name>Voice</part-name></score-part></part-list><part id="P1">
"""
TAIL = "</part></score-partwise>\n"


def attributes(fifths: int = 0, meter: str = "4/4", mode: str = "major", divisions: int = 4) -> str:
    """Divisions, key and meter of a bar."""
    upper, lower = meter.split("/")
    said = f"<mode>{mode}</mode>" if mode else ""
    return (
        f"<attributes><divisions>{divisions}</divisions><key><fifths>{fifths}</fifths>{said}</key>"
        f"<time><beats>{upper}</beats><beat-type>{lower}</beat-type></time></attributes>"
    )


def note(pitch: str, quarters: float = 1, words: str = "", more: str = "", divisions: int = 4) -> str:
    """A note like `F#4`, or a rest `-`; `words` is its syllable, `|` parts stanzas, a hyphen at its end goes on."""
    length = f"<duration>{round(quarters * divisions)}</duration>"
    if pitch == "-":
        return f"<note><rest/>{length}<voice>1</voice></note>"
    alter = pitch.count("#") - pitch.count("b")
    sounds = f"<pitch><step>{pitch[0]}</step><alter>{alter}</alter><octave>{pitch[-1]}</octave></pitch>"
    lyrics = ""
    for number, text in enumerate(filter(None, words.split("|")), start=1):
        kind = "begin" if text.endswith("-") else "single"
        lyrics += f'<lyric number="{number}"><syllabic>{kind}</syllabic><text>{text.rstrip("-")}</text></lyric>'
    tie = '<tie type="start"/>' if "start" in more else '<tie type="stop"/>' if "stop" in more else ""
    return f"<note>{sounds}{length}{tie}<voice>1</voice>{lyrics}</note>"


def harmony(root: str, kind: str = "major", more: str = "", text: str = "") -> str:
    """A chord symbol; `more` is bass, degrees or inversion as XML."""
    alter = root.count("#") - root.count("b")
    return (
        f"<harmony><root><root-step>{root[0]}</root-step><root-alter>{alter}</root-alter></root>"
        f'<kind text="{text}">{kind}</kind>{more}</harmony>'
    )


def sheet(bars: Sequence[str], title: str = "Ferry") -> str:
    """The whole file: one part with these bars."""
    body = "".join(f'<measure number="{k}">{bar}</measure>\n' for k, bar in enumerate(bars, start=1))
    return HEAD.format(title=title) + body + TAIL

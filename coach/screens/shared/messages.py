"""What other threads tell the screens. They only post; nothing here is called back."""

from __future__ import annotations

from textual.message import Message


class RunOver(Message):
    """From the engine: the last bar of the run has sounded and rung out."""


class Trouble(Message):
    """From the engine or the scribe: one sentence about something that went wrong without stopping."""

    def __init__(self, sentence: str) -> None:
        self.sentence = sentence
        super().__init__()

"""What every refusal must look like to the player."""

from __future__ import annotations

from coach.errors import BadInput


def is_one_sentence(error: BadInput) -> bool:
    """One line that ends in a full stop or asks what was meant, says how to mend it, and carries exit code 2."""
    text = str(error)
    whole = "\n" not in text and text.endswith((".", "?"))
    return whole and bool(error.what) and bool(error.mend) and error.exit_code == 2

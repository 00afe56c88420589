"""`coach song arrange`, `coach song import`: songs made with help."""

from __future__ import annotations

from coach.commands.arguments import Command

# "song NAME" -> the command; `coach/cli.py` names this module in the rows of the same names.
COMMANDS: dict[str, Command] = {}

"""The log of what happened: the SQLite ledger with its schema, takes, export and merging, and the player's days."""

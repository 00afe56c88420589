"""The kinds of misfortune. To add one, put a module here with `KINDS = (Kind("name", case), ...)`: nothing else.

A case gets a random source and an empty folder, does one piece of harm (helpers beside this folder: `mutate` damages,
`homes` makes a player's home and looks at what is lost, `call` runs the command and judges how it ended) and returns a
sentence on what failed, or None. The same seed must do the same harm.
"""

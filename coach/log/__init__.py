"""What happened: takes, passes, stumbles and verdicts in one SQLite file that only grows; export and merge."""

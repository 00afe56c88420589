"""What `coach COMMAND` does, a module for each group of commands; their table stands in coach/cli.py."""

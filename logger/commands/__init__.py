"""The subcommands, one a module: `HELP`, `add_arguments(parser)` and `run(args) -> exit status`.

A module imports what it needs inside `run`, so that `tarebook --help` is quick however much a command brings along.
"""

"""The one console command, `tarebook`: finds the subcommand, runs it, and turns bad input into one line.

Exit status: 0 done; 1 done, and something in it failed a criterion; 2 unusable arguments or input; 130 interrupted.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

COMMANDS = (
    "demo",
    "run",
    "check_cart",
    "calibrate",
    "plan",
    "replay",
    "import_",
    "export",
    "sessions",
    "review",
    "report",
    "containers",
    "phones",
    "backup",
    "collect",
    "bundle",
)
"""Modules of `logger.commands`, in the order in which the help lists them."""

_INTRO = """\
Tarebook reads the scale under a refrigerant container and the gauges on a vehicle air-conditioning service cart,
says when to stop the fill, and keeps the session.

It is an instrument and a record beside approved service equipment and certified people, never in their place.
"""

_OUTRO = """\
New here? Run `tarebook demo`: a whole session on a virtual cart in under two minutes, with its page for the phone.
`tarebook COMMAND --help` explains one command.
"""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; its exit status. Entry point of the console script."""
    parser, modules = build_parser()
    args = parser.parse_args(argv)
    if args.command is None:
        parser.print_help()
        return 0
    try:
        status = modules[args.command].run(args)
        sys.stdout.flush()
        return status
    except (ValueError, OSError) as error:
        if isinstance(error, BrokenPipeError):
            return _reader_gone()
        print(f"tarebook {args.command}: {one_line(error)}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("interrupted", file=sys.stderr)
        return 130


def build_parser() -> tuple[argparse.ArgumentParser, dict]:
    """The argument parser, and the module behind each command's name."""
    parser = _Parser(
        prog="tarebook", description=_INTRO, epilog=_OUTRO, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands")
    modules = {}
    for name in COMMANDS:
        module = importlib.import_module(f"logger.commands.{name}")
        command = name.rstrip("_").replace("_", "-")
        sub = commands.add_parser(
            command,
            help=module.HELP,
            description=module.__doc__,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        module.add_arguments(sub)
        modules[command] = module
    return parser, modules


class _Parser(argparse.ArgumentParser):
    """Complains in one line instead of repeating the whole usage; subcommands inherit it."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}; {self.prog} --help shows what it takes\n")


def one_line(error: BaseException) -> str:
    """What went wrong, on one line, with the file where the system knows it."""
    if isinstance(error, OSError) and error.strerror:
        return f"{error.filename}: {error.strerror}" if error.filename else error.strerror
    return " ".join(str(error).split()) or type(error).__name__


def _reader_gone() -> int:
    """Whoever read our output has left (`| head`): no fault, but nothing more may be written."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""`listening completion`: what a shell needs to complete commands, options and files."""

import argparse

from listening.console import show


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    import shtab

    parser.add_argument("shell", choices=shtab.SUPPORTED_SHELLS, help="your shell")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Print the script."""
    import shtab

    script = shtab.complete(whole_parser(), args.shell)
    show.result(args, [script], {"shell": args.shell, "script": script})
    return 0


def whole_parser() -> argparse.ArgumentParser:
    """All commands under one parser: the command line itself loads them one at a time."""
    parser = argparse.ArgumentParser(prog="listening")
    _add_all(parser.add_subparsers())
    return parser


def parsers() -> dict[str, argparse.ArgumentParser]:
    """The parser of each command by its name."""
    return dict(_add_all(argparse.ArgumentParser(prog="listening").add_subparsers()))


def _add_all(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> dict[str, argparse.ArgumentParser]:
    from listening import cli

    for name, line in cli.COMMANDS.items():
        cli.module(name).arguments(commands.add_parser(name, help=line))
    return commands.choices

"""The commands that look after a ledger: ``model``, ``key``, ``backup`` and ``restore``."""

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

from app.settings import Settings

COMMANDS = ("model", "key", "backup", "restore")
MAX_NAME = 120
MOST_DAYS = 3_650


def add_parsers(commands: Any, database_help: str) -> None:
    """Add the commands to the parsers of the command line."""
    model = commands.add_parser("model", help="say which version of the model answers, or let another answer")
    ways = model.add_mutually_exclusive_group()
    ways.add_argument("--use", metavar="VERSION", help="let this one answer; going back to an earlier one holds")
    ways.add_argument("--take-newest", action="store_true", help="let the newest of the versions that wait answer")
    ways.add_argument("--learn-again", action="store_true", help="let refits activate versions by themselves again")
    key = commands.add_parser("key", help="make, list and revoke the keys that calls of the API need")
    actions = key.add_subparsers(dest="action", required=True)
    new = actions.add_parser("new", help="make a key and show it, once")
    new.add_argument("--name", required=True, type=_name, help="whom or what it is for")
    new.add_argument("--scope", required=True, choices=("read", "write"), help="read: also compute; write: everything")
    new.add_argument(
        "--days", type=_days, default=365, metavar="N", help="after which it expires; 365 unless given, or: never"
    )
    listed = actions.add_parser("list", help="print all keys; never their secrets")
    revoked = actions.add_parser("revoke", help="make a key useless, for good")
    revoked.add_argument("id", metavar="ID", help="as key list prints it")
    cleared = actions.add_parser("clear", help="forget all keys: a server then answers this computer only, without any")
    backup = commands.add_parser("backup", help="copy the ledger to a file, while a server runs or not")
    backup.add_argument("file", type=Path, metavar="FILE")
    backup.add_argument("--force", action="store_true", help="replace a file that is there already")
    restore = commands.add_parser("restore", help="make a backup the ledger again; the old one is kept beside it")
    restore.add_argument("file", type=Path, metavar="FILE")
    for command in (model, new, listed, revoked, cleared, backup, restore):
        command.add_argument("--database-url", metavar="URL", help=database_help)


def answer(arguments: argparse.Namespace, settings: Settings) -> str:
    """Run one of the commands and return what it says.

    Raises
    ------
    Problem
        If it cannot be done; nothing is changed.
    """
    if arguments.command == "model":
        from app.cli import model_commands as models  # noqa: PLC0415 - other commands need no part of it

        if arguments.use is not None:
            return models.use_version(settings, arguments.use)
        if arguments.take_newest:
            return models.take_newest(settings)
        return models.learn_again(settings) if arguments.learn_again else models.model_text(settings)
    if arguments.command == "backup":
        from app.cli.backup_commands import backup  # noqa: PLC0415 - other commands need no part of it

        return backup(arguments.file, settings, force=arguments.force)
    if arguments.command == "restore":
        from app.cli.backup_commands import restore  # noqa: PLC0415 - as above

        return restore(arguments.file, settings)
    from app.cli import key_commands as keys  # noqa: PLC0415 - as above

    actions: dict[str, Callable[[], str]] = {
        "new": lambda: keys.make_key(settings, arguments.name, arguments.scope, arguments.days),
        "list": lambda: keys.listed_keys(settings),
        "revoke": lambda: keys.revoke(settings, arguments.id),
        "clear": lambda: keys.clear(settings),
    }
    return actions[arguments.action]()


def _name(text: str) -> str:
    name = text.strip()
    if not 1 <= len(name) <= MAX_NAME or not name.isprintable():
        raise argparse.ArgumentTypeError(f"must be 1 to {MAX_NAME} printable characters")
    return name


def _days(text: str) -> int | None:
    if text == "never":
        return None
    if not text.isdecimal() or not 1 <= int(text) <= MOST_DAYS:
        raise argparse.ArgumentTypeError(f"must be 1 to {MOST_DAYS:,} days, or: never")
    return int(text)

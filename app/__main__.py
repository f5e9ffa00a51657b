"""The command line: ``python -m app serve | demo | compare | hold | order-size | wish-list | worth-knowing | risk |
import | export | refit | model | key | backup | restore``.
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from pydantic import ValidationError

from app.cli.upkeep import COMMANDS as UPKEEP
from app.cli.upkeep import add_parsers, answer
from app.problems import Problem
from app.settings import Settings

BAD_INPUT = 2
QUESTIONS = {
    "compare": "routes for a batch, side by side",
    "hold": "ship now or wait: every date for every route",
    "order-size": "how many to order so that enough arrive healthy",
    "wish-list": "what to order: each line on each route, and how many",
    "worth-knowing": "what moves the answer most, and what it is worth to know it before ordering",
    "risk": "chances of lines of plants",
}
DATABASE_HELP = "sqlite:///FILE or postgresql+psycopg://..., sqlite:///transit.db unless given"


class BadInput(Exception):  # noqa: N818 - it carries the lines that say so
    """What was given cannot be used; one line a fault."""

    def __init__(self, *lines: str) -> None:
        """Take the lines."""
        self.lines = lines
        super().__init__("\n".join(lines))


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m app", description="The chance that mail-ordered tropical plants arrive alive."
    )
    commands = parser.add_subparsers(dest="command", required=True)
    serve = commands.add_parser("serve", help="serve the HTTP API")
    serve.add_argument("--host", help="127.0.0.1 unless given; an address that others can reach needs a key first")
    serve.add_argument("--port", type=int, help="8000 unless given")
    serve.add_argument("--workers", type=int, metavar="N", help="so many processes answer, 1 unless given: one a core")
    serve.add_argument("--database-url", metavar="URL", help=DATABASE_HELP)
    demo = commands.add_parser("demo", help="answer for an invented batch, then serve")
    demo.add_argument("--no-serve", action="store_true", help="only print")
    demo.add_argument("--full", action="store_true", help="print every table, line of plants and caution")
    for name, text in QUESTIONS.items():
        question = commands.add_parser(name, help=text)
        question.add_argument("file", metavar="FILE", help="request body as JSON; - for standard input")
        question.add_argument("--json", action="store_true", help="print the answer as JSON")
        question.add_argument("--database-url", metavar="URL", help=f"whose active model answers; {DATABASE_HELP}")
    imported = commands.add_parser("import", help="take a CSV file of arrived boxes into the ledger, all or nothing")
    imported.add_argument("file", metavar="FILE", help="CSV; - for standard input")
    imported.add_argument(
        "--replace", action="store_true", help="replace shipments that differ, and keep their history"
    )
    imported.add_argument(
        "--dates", choices=["day_first", "month_first"], help="what stands first in dates such as 03/04/2027"
    )
    exported = commands.add_parser("export", help="print the arrived boxes of the ledger as CSV")
    exported.add_argument("--empty", action="store_true", help="only the columns that an import needs")
    refit = commands.add_parser("refit", help="fit the model to the boxes of the ledger")
    refit.add_argument("--quick", action="store_true", help="only weigh the serving version's draws by new boxes")
    refit.add_argument("--job", help=argparse.SUPPRESS)  # of a server that has queued it
    refit.add_argument("--claimed", action="store_true", help=argparse.SUPPRESS)  # by a server, a quick update
    for command in (imported, exported, refit):
        command.add_argument("--database-url", metavar="URL", help=DATABASE_HELP)
    add_parsers(commands, DATABASE_HELP)
    return parser


def _settings(**given: str | int | None) -> Settings:
    values = {name: value for name, value in given.items() if value is not None}
    try:
        return Settings(**values)  # type: ignore[arg-type]
    except ValidationError as error:
        from app.schemas import expected  # noqa: PLC0415 - loads every schema, and a good setting needs none

        schema = Settings.model_json_schema()
        lines = []
        for fault in error.errors(include_url=False, include_input=False):
            name = str(fault["loc"][0])
            source = f"--{name.replace('_', '-')}" if name in values else f"TRANSIT_{name.upper()}"
            own = fault.get("ctx", {}).get("error")
            lines.append(f"{source}: {own or 'must be ' + expected(schema['properties'][name], schema)}")
        raise BadInput(*lines) from error


def _read(file: str) -> bytes:
    try:
        return sys.stdin.buffer.read() if file == "-" else Path(file).read_bytes()
    except OSError as error:
        raise BadInput(f"{file}: {error.strerror}") from error


def _write(text: str) -> None:
    sys.stdout.write(text.rstrip("\n") + "\n")
    sys.stdout.flush()


def _serve(settings: Settings) -> None:
    # Imported here: the commands that read a file need no web framework, and serving needs no reports.
    from app.cli.key_commands import check_keys  # noqa: PLC0415
    from app.cli.ledger_commands import check_ledger  # noqa: PLC0415
    from app.cli.server import serve  # noqa: PLC0415

    check_ledger(settings)
    check_keys(settings)
    serve(settings)


def _ledger(arguments: argparse.Namespace) -> None:
    settings = _settings(database_url=arguments.database_url)
    data = _read(arguments.file) if arguments.command == "import" else b""
    from app.cli.ledger_commands import export_file, import_file  # noqa: PLC0415 - see _serve

    if arguments.command == "import":
        _write(import_file(data, settings, replace=arguments.replace, dates=arguments.dates))
    else:
        # Bytes, so that the terminal's encoding and line ends do not change the file.
        sys.stdout.buffer.write(export_file(settings, empty=arguments.empty))
        sys.stdout.flush()


def _refitted(arguments: argparse.Namespace, settings: Settings) -> str:
    from app.cli import refit_command as refits  # noqa: PLC0415 - see _serve

    if arguments.claimed:
        return refits.quick_update_of_server(settings)
    if arguments.job is not None:
        return refits.refit_of_server(settings, arguments.job)
    return refits.quick_update(settings) if arguments.quick else refits.refit(settings)


def run(arguments: argparse.Namespace) -> None:
    """Run one command.

    Raises
    ------
    BadInput, Problem
        If a file, a setting or a request cannot be used.
    """
    if arguments.command == "serve":
        given = {name: getattr(arguments, name) for name in ("host", "port", "workers", "database_url")}
        _serve(_settings(**given))
        return
    if arguments.command in ("import", "export"):
        _ledger(arguments)
        return
    if arguments.command == "refit":
        _write(_refitted(arguments, _settings(database_url=arguments.database_url)))
        return
    if arguments.command in UPKEEP:
        _write(answer(arguments, _settings(database_url=arguments.database_url)))
        return
    settings = _settings(database_url=getattr(arguments, "database_url", None))
    # The file is read first, so that a wrong name is told at once.
    data = _read(arguments.file) if "file" in arguments else b""
    if arguments.command != "demo":
        from app.cli.commands import ask  # noqa: PLC0415 - see _serve

        answered, notice = ask(arguments.command, data, settings, as_json=arguments.json)
        if notice:
            sys.stderr.write(notice + "\n")
        _write(answered)
        return
    from app.cli.demo import demo_text  # noqa: PLC0415 - see _serve

    _write(demo_text(full=arguments.full))
    if not arguments.no_serve:
        _write(f"\nServing at http://{settings.host}:{settings.port} until stopped (Ctrl+C).")
        _serve(settings)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code: 0, or 2 for bad input."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            # A terminal without the characters of the tables gets question marks, not a traceback.
            stream.reconfigure(errors="replace")
    arguments = _parser().parse_args(argv)
    try:
        run(arguments)
    except Problem as problem:
        lines = problem.lines()
    except BadInput as bad:
        lines = list(bad.lines)
    except BrokenPipeError:
        # The reader of a pipe has seen enough; closing quietly is what it expects.
        sys.stderr.close()
        return 0
    else:
        return 0
    for line in lines:
        sys.stderr.write("".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in line) + "\n")
    return BAD_INPUT


if __name__ == "__main__":
    sys.exit(main())

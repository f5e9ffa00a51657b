"""The commands that read or change the ledger."""

from app.clock import moment
from app.ledger import DateOrder, empty_csv, export_csv, import_checked
from app.serving import ActiveModel
from app.settings import Settings
from app.store import Database


def check_ledger(settings: Settings) -> None:
    """Open the ledger if there is one, so that a wrong URL is told before a server starts.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    with Database(settings.database_url) as database:
        database.prepare_if_present()


def import_file(data: bytes, settings: Settings, *, replace: bool, dates: DateOrder | None = None) -> str:
    """Import a CSV file, weigh the draws of the version that serves by new boxes, and return what was done as text.

    Raises
    ------
    Problem
        If a cell is not as it should be, a shipment differs, or the database cannot be used; nothing is imported.
    """
    with Database(settings.database_url) as database:
        engine = ActiveModel(database).refresh()
        done = import_checked(data, database, engine, replace=replace, now=moment(settings.now), dates=dates)
    said = (
        f"{done.lines:,} lines read. Shipments added: {done.added:,}, unchanged: {done.unchanged:,}, "
        f"replaced: {done.replaced:,}."
    )
    lines = [f"Row {doubt.row}, {doubt.column} ({doubt.shipment}): {doubt.text}" for doubt in done.doubtful]
    if done.unchecked:
        lines.append(f"{done.unchecked:,} shipments were not looked at: the next refit does.")
    if settings.quick_update and (done.added or done.replaced):
        from app.cli.refit_command import quick_update  # noqa: PLC0415 - the likelihood is slow to load

        said = f"{said} {quick_update(settings)}"
    return "\n".join([said, *lines])


def export_file(settings: Settings, *, empty: bool = False) -> bytes:
    """Return the arrived shipments as CSV, or an empty file to start from.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    if empty:
        return empty_csv()
    with Database(settings.database_url) as database:
        return export_csv(database)

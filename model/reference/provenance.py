"""How many values of the tables come from where."""

from collections import Counter
from collections.abc import Iterator

from model.reference.rows import STATUSES, TABLES, read_rows

# The long status of the checked normals would widen its column.
HEADINGS = {"from memory, checked against published 1991-2020 normals": "from memory, checked"}


def counted() -> Iterator[tuple[str, Counter[str]]]:
    """Yield each table with the number of its rows by status; a table with statuses by column once for each of them."""
    for table in TABLES:
        rows = read_rows(table)
        for column in rows[0]:
            if column.endswith("status"):
                of = column.removesuffix("status").rstrip("_").replace("_", " ")
                yield f"{table}: {of}" if of else table, Counter(row[column] for row in rows)


def provenance() -> str:
    """Return the counts as a Markdown table, one line a table, the statuses from the surest to the least sure."""
    tables = list(counted())
    total = sum((statuses for _, statuses in tables), Counter[str]())
    lines = [["table", "rows", *(HEADINGS.get(status, status) for status in STATUSES)], ["---"] * (len(STATUSES) + 2)]
    lines += [
        [name, str(statuses.total()), *(str(statuses[status] or "") for status in STATUSES)]
        for name, statuses in [*tables, ("all", total)]
    ]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)

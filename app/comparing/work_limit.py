"""How much work one request may be: a valid one can be large enough to keep a server busy for an hour."""

from collections.abc import Iterable
from typing import NamedTuple, TypeVar

from app.batch import PreparedBatch, RoutePlan
from app.comparing.simulation import LONGEST_DAYS, MOST_SINGLE_PLANTS
from app.problems import TooMuchWork
from app.schemas import Batch

# Nanoseconds, measured on one core of a small server that others used too: of following one draw of one box for an
# hour, and of each genus in it; of each line in a box; of a route, of each of its lines, more if its plants are many,
# and of each plant that is drawn by itself; of the search for an order of one line, for each box that it may fill.
NS_PER_HOUR = 22.0
NS_PER_GENUS_HOUR = 4.0
NS_PER_LINE_IN_BOX = 60.0
NS_PER_ROUTE = 1_600.0
NS_PER_LINE = 190.0
NS_PER_LARGE_LINE = 400.0
NS_PER_PLANT = 2.4
NS_PER_SEARCH = 5_000.0
# The estimate was right within a factor of two, so that nothing that takes less than half of this is refused.
MOST_SECONDS = 5.0
# Draws of boxes that travel apart, by genus: about 2 GB of memory.
MOST_CELLS = 40_000_000
FEWEST_DRAWS = 256
Asked = TypeVar("Asked", bound=Batch)


class Work(NamedTuple):
    """What a request asks for, for each draw: time in ns, and numbers kept at the same time."""

    ns: float
    cells: int

    def draws_that_fit(self) -> int:
        """Return how many draws are not too many."""
        return int(min(MOST_SECONDS * 1e9 / self.ns, MOST_CELLS / self.cells))


def work_of(prepared: PreparedBatch, plans: Iterable[RoutePlan], *, n_dates: int = 1, n_searches: int = 0) -> Work:
    """Return the work of following `plans` on so many dates, and of so many searches for an order in a box."""
    n_lines = len(prepared.lines)
    n_genera = len({line.plant.genus for line in prepared.lines})
    single = [line.quantity for line in prepared.lines if line.quantity <= MOST_SINGLE_PLANTS]
    route = NS_PER_ROUTE + NS_PER_LINE * n_lines + NS_PER_PLANT * sum(single)
    route += NS_PER_LARGE_LINE * (n_lines - len(single))
    ns, cells = NS_PER_SEARCH * n_searches, 0
    for plan in plans:
        hours = 24.0 * (min(plan.transit.mean(), LONGEST_DAYS) + plan.papers_days)
        box = hours * (NS_PER_HOUR + NS_PER_GENUS_HOUR * n_genera) + NS_PER_LINE_IN_BOX * n_lines
        ns += n_dates * (plan.n_fates * box + route)
        cells = max(cells, plan.n_fates * n_genera)
    return Work(ns, cells)


def check_work(
    draws: int, prepared: PreparedBatch, plans: Iterable[RoutePlan], *, n_dates: int = 1, n_searches: int = 0
) -> None:
    """Refuse so many draws of a request where they would take too long or too much memory.

    Raises
    ------
    TooMuchWork
        With the number of draws that would do, if there is one.
    """
    fitting = work_of(prepared, plans, n_dates=n_dates, n_searches=n_searches).draws_that_fit()
    if draws <= fitting:
        return
    less = "fewer dates, routes, lines, or boxes that travel apart"
    if fitting >= FEWEST_DRAWS:
        message = f"must be at most {fitting:,} for a request as large as this, or ask for {less}"
        raise TooMuchWork("/draws", message)
    raise TooMuchWork("", f"asks for more than one answer can hold: ask for {less}")


def with_fitting_draws(
    request: Asked, prepared: PreparedBatch, plans: Iterable[RoutePlan], *, n_dates: int = 1, n_searches: int = 0
) -> Asked:
    """Return a request as it can be answered: where it leaves out how many draws, as many as fit.

    Raises
    ------
    TooMuchWork
        If it asks for more draws than fit, or the fewest that it may ask for do not.
    """
    plans = list(plans)
    if "draws" not in request.model_fields_set:
        fitting = work_of(prepared, plans, n_dates=n_dates, n_searches=n_searches).draws_that_fit()
        if FEWEST_DRAWS <= fitting < request.draws:
            return request.model_copy(update={"draws": fitting})
    check_work(request.draws, prepared, plans, n_dates=n_dates, n_searches=n_searches)
    return request

"""How much work one request may be: a valid one can be large enough to keep a server busy for an hour."""

from collections.abc import Iterable
from typing import NamedTuple, TypeVar

from app.batch import PreparedBatch, RoutePlan
from app.comparing.simulation import LONGEST_DAYS, MOST_SINGLE_PLANTS
from app.problems import MOST_SECONDS, TooMuchWork
from app.schemas import Batch

# Nanoseconds, measured on one core of a small server that others used too: of following one draw of one box for an
# hour, and of each genus in it; of each line in a box; of a route, of each of its lines, more if its plants are many,
# and of each plant that is drawn by itself; of the search for an order of one line, for each box that it may fill.
NS_PER_HOUR = 29.0
NS_PER_GENUS_HOUR = 1.2
NS_PER_LINE_IN_BOX = 60.0
NS_PER_ROUTE = 1_600.0
NS_PER_LINE = 190.0
NS_PER_LARGE_LINE = 400.0
NS_PER_PLANT = 2.4
NS_PER_SEARCH = 5_000.0
# Of what knowing is worth: of each genus, of each route, and of each line of a route.
NS_PER_KNOWN = 2_000.0
NS_PER_KNOWN_ON_ROUTE = 6_000.0
NS_PER_EXPECTED = 100.0
# However few the draws: of a box, of each line of a route, and of each genus and route whose worth is worked out.
NS_PER_BOX = 3e6
NS_PER_LINE_ONCE = 0.17e6
NS_PER_KNOWN_ONCE = 2e6
# The estimate was right within a factor of two, so that nothing that takes less than half of `MOST_SECONDS` is refused.
# Draws of boxes that travel apart, by genus: about 2 GB of memory.
MOST_CELLS = 40_000_000
FEWEST_DRAWS = 256
# Remedies of the advised route that are played through beside an answer, and the draws of each: enough to rank by,
# since the gain is that of paired draws.
REMEDIES = 4
REMEDY_DRAWS = 1024
Asked = TypeVar("Asked", bound=Batch)


class Work(NamedTuple):
    """What a request asks for.

    `ns` is of each draw, `remedy_ns` of each of the first `REMEDY_DRAWS` beside it, `fixed_ns` of none; `cells` is how
    many numbers of each draw are kept at the same time.
    """

    ns: float
    remedy_ns: float
    fixed_ns: float
    cells: int

    def draws_that_fit(self) -> int:
        """Return how many draws are not too many; not above 0 where none are."""
        left = MOST_SECONDS * 1e9 - self.fixed_ns
        draws = left / (self.ns + self.remedy_ns)
        if draws > REMEDY_DRAWS:
            draws = (left - REMEDY_DRAWS * self.remedy_ns) / self.ns
        return int(min(draws, MOST_CELLS / self.cells))


def work_of(
    prepared: PreparedBatch,
    plans: Iterable[RoutePlan],
    *,
    n_dates: int = 1,
    n_searches: int = 0,
    n_remedies: int = 0,
    worth_knowing: bool = False,
) -> Work:
    """Return the work of following `plans` on so many dates.

    Beside it so many searches for an order in a box, so many remedies of the largest route as asked, and whether it is
    worked out what knowing is worth.
    """

    def once(plan: RoutePlan) -> tuple[float, float]:
        hours = 24.0 * (min(plan.transit.mean(), LONGEST_DAYS) + plan.papers_days)
        box = hours * (NS_PER_HOUR + NS_PER_GENUS_HOUR * n_genera) + NS_PER_LINE_IN_BOX * n_lines
        return plan.n_fates * box + route, plan.n_fates * NS_PER_BOX + NS_PER_LINE_ONCE * n_lines

    plans, n_lines = list(plans), len(prepared.lines)
    n_genera = len({line.plant.genus for line in prepared.lines})
    single = [line.quantity for line in prepared.lines if line.quantity <= MOST_SINGLE_PLANTS]
    route = NS_PER_ROUTE + NS_PER_LINE * n_lines + NS_PER_PLANT * sum(single)
    route += NS_PER_LARGE_LINE * (n_lines - len(single))
    ns, fixed = (n_dates * sum(each) for each in zip(*map(once, plans), strict=True))
    if worth_knowing:
        ns += NS_PER_KNOWN * n_genera + len(plans) * (NS_PER_KNOWN_ON_ROUTE + NS_PER_EXPECTED * n_lines)
        ns += sum(plan.n_fates * NS_PER_LINE_IN_BOX * n_lines for plan in plans)
        fixed += NS_PER_KNOWN_ONCE * (n_genera + len(plans))
    remedy_ns, remedy_fixed = max(once(asked.plan) for asked in prepared.routes)
    return Work(
        ns + NS_PER_SEARCH * n_searches,
        n_remedies * remedy_ns,
        fixed + n_remedies * remedy_fixed,
        max(plan.n_fates for plan in plans) * n_genera,
    )


def check_work(draws: int, work: Work) -> None:
    """Refuse so many draws of a request where they would take too long or too much memory.

    Raises
    ------
    TooMuchWork
        With the number of draws that would do, if there is one.
    """
    fitting = work.draws_that_fit()
    if draws <= fitting:
        return
    less = "fewer dates, routes, lines, or boxes that travel apart"
    if fitting >= FEWEST_DRAWS:
        message = f"must be at most {fitting:,} for a request as large as this, or ask for {less}"
        raise TooMuchWork("/draws", message)
    raise TooMuchWork("", f"asks for more than one answer can hold: ask for {less}")


def with_fitting_draws(request: Asked, work: Work) -> Asked:
    """Return a request as it can be answered: where it leaves out how many draws, as many as fit.

    Raises
    ------
    TooMuchWork
        If it asks for more draws than fit, or the fewest that it may ask for do not.
    """
    fitting = work.draws_that_fit()
    if "draws" not in request.model_fields_set and FEWEST_DRAWS <= fitting < request.draws:
        return request.model_copy(update={"draws": fitting})
    check_work(request.draws, work)
    return request

"""Answers as plain text for a terminal: tables and wrapped sentences, at most 100 columns where names allow."""

import textwrap
from collections.abc import Iterable, Sequence

from app.batch import half_up
from app.schemas import (
    Assumed,
    Caution,
    ChanceInterval,
    CompareAnswer,
    CompareRequest,
    Distribution,
    HoldAnswer,
    HoldRequest,
    NotCounted,
    OrderSizeAnswer,
    OrderSizeRequest,
    RiskAnswer,
    RiskRequest,
    RouteOutcome,
    WishListAnswer,
    WishListRequest,
    WishOutcome,
    WorthKnowingAnswer,
    WorthKnowingRequest,
)

WIDTH = 100
NAME_WIDTH = 24
MOMENTS = {
    "before_paying": "Before paying:",
    "packing": "When it is packed:",
    "on_the_way": "While it travels:",
    "arrival": "When it arrives:",
}


def printable(text: str) -> str:
    """Return a text without characters that would steer a terminal."""
    return "".join(c if c.isprintable() else "?" for c in text)


def wrapped(text: str, indent: str = "") -> str:
    """Return a sentence in lines of at most `WIDTH`, the first after an indent and the others under it."""
    return textwrap.fill(printable(text), WIDTH, initial_indent=indent, subsequent_indent=" " * len(indent))


def _clipped(name: str) -> str:
    name = printable(name)
    return name if len(name) <= NAME_WIDTH else name[: NAME_WIDTH - 1] + "…"


def table(head: Sequence[str], rows: Iterable[Sequence[str]], n_left: int = 1) -> str:
    """Return rows as aligned columns, the first `n_left` to the left and the others to the right."""
    cells = [list(head), *(list(row) for row in rows)]
    widths = [max(len(row[j]) for row in cells) for j in range(len(head))]
    cells.insert(1, ["-" * width for width in widths])
    lines = (
        "  ".join(
            cell.ljust(width) if j < n_left else cell.rjust(width)
            for j, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        for row in cells
    )
    return "\n".join(line.rstrip() for line in lines)


def percent(chance: float | None) -> str:
    """Return a chance as a percentage, a dash where there is none."""
    return "-" if chance is None else f"{100 * chance:.0f} %"


def money(amount: float | None) -> str:
    """Return an amount in whole units, a dash where there is none."""
    return "-" if amount is None else f"{half_up(amount, 0):,}"


def spread(counts: Distribution) -> str:
    """Return mean and range of a count."""
    return f"{counts.mean:.1f} ({counts.p05:.0f}-{counts.p95:.0f})"


def money_spread(amounts: Distribution) -> str:
    """Return the range of an amount that 9 of 10 draws lie in."""
    return f"{money(amounts.p05)} to {money(amounts.p95)}"


def _interval(chance: ChanceInterval) -> str:
    return f"{chance.mean:.2f} ({chance.low:.2f}-{chance.high:.2f})"


def _assumed(assumed: Sequence[Assumed]) -> list[str]:
    rows = [wrapped(f"{a.pointer} = {_value(a)}: {a.why}", "  ") for a in assumed]
    return ["Assumed, since left out", "\n".join(rows), ""] if rows else []


def _value(assumed: Assumed) -> str:
    value = assumed.value
    return f"{value:g}" if isinstance(value, float) else str(value)


def _not_counted(left_out: Sequence[NotCounted]) -> list[str]:
    def text(one: NotCounted) -> str:
        usual = one.usual
        range_ = "" if usual is None else f", usually {usual.low:g} to {usual.high:g} {usual.currency}"
        return wrapped(f"{one.pointer}: {one.text}{range_}", "  ")

    return ["Not counted, since not given", "\n".join(map(text, left_out)), ""] if left_out else []


def _acts(cautions: Sequence[Caution]) -> list[str]:
    acts = [wrapped(caution.text, "* ") for caution in cautions if caution.act]
    return ["To do", "\n".join(acts), ""] if acts else []


def _cautions(cautions: Sequence[Caution]) -> list[str]:
    """Return the standing cautions by when to think of them."""

    def text(caution: Caution) -> str:
        checked = f" Checked {caution.checked}." if caution.checked else ""
        decided = f" Decides: {caution.decided_by}." if caution.decided_by else ""
        return wrapped(f"{caution.text}{checked}{decided}", "* ")

    lines = []
    for moment, words in MOMENTS.items():
        own = [text(caution) for caution in cautions if caution.moment == moment and not caution.act]
        lines += [words, *own] if own else []
    return ["Cautions", *lines, ""] if lines else []


def _ending(answer: CompareAnswer | HoldAnswer | OrderSizeAnswer | WishListAnswer) -> list[str]:
    """Return what every answer about a batch ends with."""
    return [*_assumed(answer.assumed), *_not_counted(answer.not_counted), *_cautions(answer.cautions)]


def _plants_row(route: RouteOutcome) -> list[str]:
    days, inside, plants = route.transit_days, route.inside_c, route.plants
    return [
        _clipped(route.name),
        str(route.boxes),
        f"{days.p50:.1f} ({days.p10:.1f}-{days.p90:.1f})",
        f"{inside.p50:.0f} ({inside.p05:.0f} to {inside.p95:.0f})",
        spread(plants.healthy),
        spread(plants.healthy_two_weeks),
        spread(plants.dead),
        percent(route.chance_loss_within_limit),
    ]


def _money_row(route: RouteOutcome) -> list[str]:
    of_route = route.money
    return [
        _clipped(route.name),
        money(of_route.landed_cost),
        money(of_route.recovered_mean),
        money(of_route.margin.mean),
        money_spread(of_route.margin),
        money(of_route.worst_5pct_margin),
        "-" if of_route.cost_per_healthy_plant is None else f"{of_route.cost_per_healthy_plant:,.2f}",
        percent(route.chance_best),
    ]


def compare_report(request: CompareRequest, answer: CompareAnswer) -> str:
    """Return a comparison as text: recommendation, routes, lines, assumed costs, cautions."""
    sent = sum(line.quantity for line in request.lines)
    limit = f"lost <= {percent(request.risk.max_loss_share)}"
    plants_head = ("route", "boxes", "days", "inside °C", f"healthy of {sent}", "two weeks on", "dead", limit)
    money_head = ("route", "landed", "recovered", "margin", "5 % to 95 %", "worst 1 in 20", "per healthy", "is best")
    line_head = ("route", "genus", "cultivar", "sent", "healthy", "damaged", "dead", "margin")
    lines = [
        [
            _clipped(route.name),
            _clipped(line.genus),
            _clipped(line.cultivar or ""),
            str(line.quantity),
            spread(line.healthy),
            spread(line.damaged),
            spread(line.dead),
            money(line.margin_mean),
        ]
        for route in answer.routes
        for line in route.lines
    ]
    splitting = [
        wrapped(f"{route.name}: {route.splitting.text}", "  ")
        for route in answer.routes
        # The reason, or what to do, already says it of the recommended route.
        if route.splitting is not None
        and not any(route.splitting.text in text for text in (answer.reason, *(c.text for c in answer.cautions)))
    ]
    return "\n".join(
        [
            wrapped(answer.reason),
            "",
            *_acts(answer.cautions),
            f"Routes from {request.origin} to {request.destination}, {request.ship_date:%a %Y-%m-%d}: plants",
            table(plants_head, map(_plants_row, answer.routes)),
            "",
            f"Routes: money, {request.currency}",
            table(money_head, map(_money_row, answer.routes)),
            *(wrapped(f"{_clipped(r.name)}: landed {r.money.without}.") for r in answer.routes if r.money.without),
            "",
            *(["Boxes that travel apart", *splitting, ""] if splitting else []),
            "Lines",
            table(line_head, lines, n_left=3),
            "",
            *_ending(answer),
        ]
    )


def hold_report(request: HoldRequest, answer: HoldAnswer) -> str:
    """Return the ship dates as text: recommendation, dates, assumed costs, cautions."""
    head = ("ship date", "route", "blocked by", "healthy", "margin", "5 % to 95 %", "bearable", "beats first", "group")
    rows = [
        [
            f"{entry.ship_date:%a %Y-%m-%d}",
            _clipped(entry.route),
            ", ".join(entry.blocked_by).replace("_", " "),
            spread(entry.healthy),
            money(entry.margin_mean),
            money_spread(entry.margin),
            percent(entry.chance_loss_within_limit),
            percent(entry.chance_better_than_first),
            "-" if entry.group is None else str(entry.group),
        ]
        for entry in answer.dates
    ]
    return "\n".join(
        [
            wrapped(answer.reason),
            "",
            *_acts(answer.cautions),
            f"Ship dates from {request.origin} to {request.destination}, {request.currency}",
            table(head, rows, n_left=3),
            "",
            *_ending(answer),
        ]
    )


def order_size_report(request: OrderSizeRequest, answer: OrderSizeAnswer) -> str:
    """Return the order sizes as text: a row a route, assumed costs, cautions."""
    target = request.target
    genus = request.lines[target.line].genus
    head = ("route", "order", "boxes", "chance", "healthy", f"landed, {request.currency}")
    rows = [
        [
            _clipped(route.name),
            "over 10,000" if route.quantity is None else f"{route.quantity:,}",
            "-" if route.boxes is None else str(route.boxes),
            percent(route.chance),
            "-" if route.healthy is None else spread(route.healthy),
            money(route.landed_cost),
        ]
        for route in answer.routes
    ]
    return "\n".join(
        [
            wrapped(answer.lead),
            "",
            wrapped(
                f"Order of {genus} that leaves {target.healthy} healthy with a chance of {percent(target.confidence)}"
            ),
            "",
            table(head, rows),
            "",
            *_ending(answer),
        ]
    )


def _wish_row(route: str, line: WishOutcome) -> list[str]:
    each, wanted = line.cost_per_healthy_plant, line.wanted
    order = "-"
    if wanted is not None:
        found = "over 10,000" if wanted.quantity is None else f"{wanted.quantity:,}"
        order = f"{found} for {wanted.wanted_healthy:,} ({percent(wanted.confidence)})"
    return [
        _clipped(f"{line.genus} {line.cultivar or ''}".strip()),
        _clipped(route),
        str(line.quantity),
        percent(line.healthy.mean),
        percent(line.healthy_two_weeks.mean),
        "-" if each is None else f"{each:,.2f}",
        f"{line.margin_per_plant:,.2f}",
        "loses" if line.loses_money else "",
        order,
    ]


def wish_list_report(request: WishListRequest, answer: WishListAnswer) -> str:
    """Return a wish list as text: advice, a row a line and route, why lines lose money, assumed costs, cautions."""
    currency = request.currency
    head = ("line", "route", "sent", "healthy", "2 weeks", f"{currency}/healthy", f"{currency}/plant", "", "order")
    rows = [_wish_row(route.name, route.lines[i]) for i in range(len(request.lines)) for route in answer.routes]
    route_head = ("route", "boxes", f"landed, {currency}", "margin", "5 % to 95 %")
    routes = [
        [_clipped(r.name), str(r.boxes), money(r.landed_cost), money(r.margin.mean), money_spread(r.margin)]
        for r in answer.routes
    ]
    losing = [
        wrapped(f"{line.genus} {line.cultivar or ''}".strip() + f", {route.name}: {line.reason}", "  ")
        for route in answer.routes
        for line in route.lines
        if line.reason is not None
    ]
    return "\n".join(
        [
            wrapped(answer.lead),
            "",
            *(wrapped(advice.text, "* ") for advice in answer.advice),
            "",
            f"Lines from {request.origin} to {request.destination}, {request.ship_date:%a %Y-%m-%d}",
            table(head, rows, n_left=2),
            "",
            wrapped(answer.cost_shares),
            "",
            "The whole batch",
            table(route_head, routes),
            "",
            *(["Lines that lose money", *losing, ""] if losing else []),
            *_ending(answer),
        ]
    )


def risk_report(request: RiskRequest, answer: RiskAnswer) -> str:
    """Return the chances as text: a row a query, then each caution once."""
    head = ("genus", "days", "healthy", "damaged", "dead", "two weeks on", "days at 20 °C")
    rows = [
        [
            _clipped(query.genus),
            f"{query.transit_days:g}",
            _interval(result.healthy),
            _interval(result.damaged),
            _interval(result.dead),
            _interval(result.healthy_two_weeks),
            f"{result.equivalent_days:.1f}",
        ]
        for query, result in zip(request.queries, answer.results, strict=True)
    ]
    cautions = {(c.code, c.text): c for result in answer.results for c in result.cautions}
    return "\n".join(
        ["Chances of a plant, with 80 % intervals", table(head, rows), "", *_cautions(list(cautions.values()))]
    )


def worth_knowing_report(request: WorthKnowingRequest, answer: WorthKnowingAnswer) -> str:
    """Return the worth of knowing as text: the lead, what could be learned and known, what moves the margin, notes."""
    head = ("thing", f"worth, {request.currency}", "standard error", "changes choice", "moves margin")
    rows = [
        [
            printable(one.name),
            f"{one.worth:,.2f}",
            f"{one.standard_error:,.2f}",
            percent(one.changed_share),
            percent(one.spread_share),
        ]
        for one in answer.known
    ]
    learned = [wrapped(one.text, "* ") for one in answer.learned]
    return "\n".join(
        [
            wrapped(answer.lead),
            "",
            *(["To ask or to learn", *learned, ""] if learned else []),
            "To know before ordering",
            table(head, rows),
            "",
            *(wrapped(one.text, "* ") for one in answer.known),
            "",
            wrapped(answer.moves),
            "",
            *(wrapped(note) for note in answer.notes),
            "",
            *_assumed(answer.assumed),
            *_not_counted(answer.not_counted),
        ]
    )

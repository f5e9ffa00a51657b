"""What moves the answer most, and what it would be worth to know it before deciding."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from app.batch import prepare
from app.comparing.choice import RouteChoice, advised, choose
from app.comparing.knowable import Knowable, knowable, learnable
from app.comparing.results import RouteResult, plain_results
from app.comparing.simulated import SimulatedBatch, SimulatedRoute
from app.comparing.worth_words import known_text, learned_text, moves_text, thing, worth_lead, worth_notes
from app.schemas import (
    Assumed,
    Known,
    Learned,
    WorthFound,
    WorthKnowingAnswer,
    WorthKnowingRequest,
)
from app.serving import Engine
from model.decision import (
    Share,
    Worth,
    given_known,
    margin,
    recovered_by_line,
    supporting_prices,
    variance_share,
    worth_as_safe,
)

Array = NDArray[np.float64]

# Then no route is recommended for want of safety, and money alone counts.
LIMIT_LEFT_OUT = ("no_route_keeps_loss", "safe_routes_lose_money")


def answer_worth_knowing(
    request: WorthKnowingRequest, engine: Engine, from_record: Sequence[Assumed] = ()
) -> WorthKnowingAnswer:
    """Return what could be known and learned, each with its worth and its words.

    `from_record` is what was filled in from the record of the seller.
    """
    prepared = prepare(request, engine, request.ship_date, from_record)
    batch = SimulatedBatch(request, prepared, engine, worth_knowing=True)
    simulated = batch.routes()
    results = plain_results(batch, simulated)
    choice = choose(batch.request, results)
    shown = advised(results, choice)
    margins = _Margins(batch, results, choice, shown)
    known = sorted((_known(request, one, margins) for one in knowable(batch, simulated)), key=lambda one: -one.worth)
    learned = sorted(
        (_learned(request, one, margins) for one in learnable(batch, request, simulated, simulated[shown])),
        key=lambda one: -(one.worth if one.worth_a_year is None else one.worth_a_year),
    )
    return WorthKnowingAnswer(
        model_version=engine.model_version,
        seed=request.seed,
        draws=batch.simulation.n_draws,
        lead=worth_lead(request, known, learned, as_safe_as=margins.as_safe_as),
        recommended=None if choice.recommended is None else results[choice.recommended].name,
        as_safe_as=margins.as_safe_as,
        about=results[shown].name,
        moves=moves_text(request, known, results[shown].name),
        everything=_found(request, margins.everything()),
        known=known,
        learned=learned,
        notes=worth_notes(
            request,
            learned,
            draws=batch.simulation.n_draws,
            as_safe_as=margins.as_safe_as,
            limit_left_out=choice.rule.reason_code in LIMIT_LEFT_OUT,
        ),
        assumed=prepared.assumed,
        not_counted=prepared.not_counted,
    )


class _Margins:
    """Margins given all but the chance of each plant, and whether the loss is kept: the routes, ordering nothing last.

    `about` is the position of the route whose margin's spread is shared out; `as_safe_as` names the recommended route
    where the limit on the loss forbids another that would earn more.
    """

    def __init__(self, batch: SimulatedBatch, results: Sequence[RouteResult], choice: RouteChoice, about: int) -> None:
        nothing = np.zeros((batch.simulation.n_draws, 1))
        margins = [_expected_margin(batch, result.simulated)[:, None] for result in results]
        kept = [_loss_kept(result, batch.request.risk.max_loss_share)[:, None] for result in results]
        self._margins = np.concatenate([*margins, nothing], axis=1)
        self._kept = np.concatenate([*kept, 1.0 + nothing], axis=1)
        self._prices = np.zeros(1)
        names = [result.name for result in results]
        if choice.rule.recommended is not None:
            best = names.index(choice.rule.recommended)
            self._prices = supporting_prices(self._margins.mean(axis=0), self._kept.mean(axis=0), best)
        self.as_safe_as = choice.rule.recommended if self._prices[0] > 0 else None
        self._about = about
        self._spread = float(results[about].simulated.money.margin.var())

    def everything(self) -> Worth:
        """Return what it is worth to know all that is drawn."""
        return worth_as_safe(self._margins, self._kept, (self._margins, self._kept), self._prices)

    def given(self, one: Knowable) -> tuple[Worth, Share]:
        """Return what knowing something is worth, and how much of the spread it makes."""
        inputs = [*one.inputs, np.empty((len(self._margins), 0))]
        both = given_known(np.concatenate([self._margins, self._kept], axis=1), [*inputs, *inputs])
        given, kept_given = np.split(both, 2, axis=1)
        worth = worth_as_safe(self._margins, self._kept, (given, kept_given), self._prices)
        return worth, variance_share(self._margins[:, self._about], given[:, self._about], self._spread)


def _loss_kept(result: RouteResult, max_loss_share: float) -> Array:
    """Return 1 for draws in which the loss stays bearable, else 0; (draws,)."""
    kept: Array = (result.simulated.drawn.dead.sum(axis=1) / result.sent <= max_loss_share).astype(np.float64)
    return kept


def _expected_margin(batch: SimulatedBatch, s: SimulatedRoute) -> Array:
    """Return the margin expected in each draw: of the chances of the plants, not of how each fared, (draws,)."""
    request, expected = batch.request, batch.simulation.expected_counts(s.route.plan, s.journeys)
    sale_value = np.array([line.sale_value for line in request.lines])
    recovered = recovered_by_line(
        expected.dead,
        np.array([line.unit_cost for line in request.lines]),
        batch.prepared.recourse,
        healthy_chance=s.drawn.healthy_chance.mean(axis=0),
        freight_per_plant=s.route.asked.freight / s.route.capacity,
    ).sum(axis=1)
    total = s.money.cost.total
    # Plants whose injury shows late are sold as damaged ones, as in the money of the route.
    return margin(expected.two_weeks, expected.damaged, sale_value, request.damaged_value_share, recovered, total)


def _found(request: WorthKnowingRequest, worth: Worth) -> WorthFound:
    return WorthFound(
        worth=worth.mean if worth.is_clear else 0.0,
        standard_error=worth.standard_error,
        clear=worth.is_clear,
        changed_share=worth.changed_share,
        currency=request.currency,
    )


def _known(request: WorthKnowingRequest, one: Knowable, margins: _Margins) -> Known:
    worth, share = margins.given(one)
    found = _found(request, worth)
    return Known(
        **found.model_dump(),
        name=thing(request, one),
        code=one.code,
        genus=one.genus,
        text=known_text(request, one, found),
        spread_share=share.mean,
        spread_share_error=share.standard_error,
    )


def _learned(request: WorthKnowingRequest, one: Knowable, margins: _Margins) -> Learned:
    worth, _ = margins.given(one)
    found = _found(request, worth)
    asked = one.code == "ask_last_boxes"
    return Learned(
        **found.model_dump(),
        name=thing(request, one),
        code=one.code,
        genus=one.genus,
        boxes=request.asked_boxes if asked else request.more_boxes,
        text=learned_text(request, one, found),
        worth_a_year=None if asked else found.worth * request.orders_a_year,
    )

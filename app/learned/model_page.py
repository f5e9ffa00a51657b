"""What the active model is: its rules of thumb and how it meets them, its scales, its effects as time ratios."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from app.learned.beside_survival import delayed_boxes, late_losses, times_left_out, transit_times
from app.learned.criticism import criticism
from app.learned.effects import effects, quantiles
from app.learned.written import UNWRITTEN, WrittenNames
from app.schemas import Doubtful, ModelAnswer, ModelChance, ModelHold, ModelUpdate, RuleOfThumb, Scale
from app.serving import Engine, QuickUpdate, rules_draws
from model.plant import total_spread
from model.predict import PosteriorDraws
from model.prior import CommonParameters, rule_shares
from model.reference import HIGH, LOW

ASSUMPTION = (
    "Given service, seller and temperature, a box's delay says nothing else about its condition. Counts are taken "
    "once, at unboxing. Time ratios hold at 20 °C, above chilling."
)


def answer_model(
    engine: Engine,
    notice: str | None = None,
    doubtful: Sequence[Doubtful] = (),
    names: WrittenNames = UNWRITTEN,
    held: ModelHold | None = None,
) -> ModelAnswer:
    """Return the active model; `notice` says why it is not the one that should be, if so.

    `doubtful` are the records of the ledger that look wrong, `names` how its owner writes those of plants and sellers,
    `held` that the version was gone back to.
    """
    draws, reference = engine.draws, engine.reference
    parameters = draws.parameters
    spread = total_spread(parameters.scales, reference)
    common = CommonParameters(parameters.alpha, parameters.kappa, parameters.delta, parameters.log_q10, parameters.h0)
    shares = rule_shares(reference.rules, common, spread=spread)
    rules = []
    for rule, share in zip(reference.rules, shares.T, strict=True):
        low, high = np.quantile(share, [LOW, HIGH])
        mean = float(share.mean())
        rules.append(
            RuleOfThumb(
                code=rule.code,
                text=rule.text,
                days=rule.days,
                inside_c=rule.inside_c,
                outcome="dead" if rule.outcome == "dead" else "healthy",
                low=rule.low,
                best=rule.best,
                high=rule.high,
                model=ModelChance(mean=mean, low=low, high=high),
                inside_range=rule.low <= mean <= rule.high,
                source=rule.source,
                status=rule.status,
            )
        )
    prior = _parameters(rules_draws(reference))
    own = {} if engine.rules_alone else _parameters(draws)
    return ModelAnswer(
        model_version=engine.model_version,
        notice=notice,
        held=held,
        update=_told(engine.update),
        fitted=engine.fit.manifest.fitted_at if engine.fit else None,
        boxes=engine.fit.counts.n_boxes if engine.fit else 0,
        plants=engine.fit.counts.n_plants if engine.fit else 0,
        assumption=ASSUMPTION,
        lost_whole=lost_whole(parameters.lost),
        rules=rules,
        scales=[
            Scale(name=name, prior=quantiles(values), posterior=quantiles(own[name]) if own else None)
            for name, values in prior.items()
        ],
        effects=effects(engine, names),
        transit=transit_times(engine),
        transit_left_out=times_left_out(engine),
        late_loss=late_losses(engine),
        delayed_boxes=delayed_boxes(engine),
        doubtful=list(doubtful),
        criticism=criticism(engine, names),
        diagnostics={
            **(engine.fit.manifest.diagnostics if engine.fit else {}),
            "draws": draws.n_draws,
            "kappa_draws_replaced": parameters.n_replaced,
            "spread_median": float(np.median(spread)),
        },
    )


def lost_whole(chance: NDArray[np.float64]) -> str:
    """Return how often a box is lost whole, in words, from draws of the chance: by their median."""
    one_in = round(1.0 / float(np.median(chance)))
    return f"About 1 box in {one_in:,} is lost whole, whatever the route: counted in every answer."


def _told(update: QuickUpdate | None) -> ModelUpdate | None:
    return None if update is None else ModelUpdate.model_validate(update, from_attributes=True)


def _parameters(draws: PosteriorDraws) -> dict[str, NDArray[np.float64]]:
    parameters = draws.parameters
    return {
        **parameters.scales,
        "q10": np.exp(parameters.log_q10),
        "chill_rate": parameters.chill_rate,
        "h0": parameters.h0,
        "lost_whole": parameters.lost,
        "kappa": parameters.kappa,
        "delta": parameters.delta,
    }

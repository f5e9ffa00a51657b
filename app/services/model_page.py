"""What the active model is: its rules of thumb and how it meets them, its scales, its effects as time ratios."""

import numpy as np
from numpy.typing import NDArray

from app.engine import Engine
from app.schemas.model_page import (
    Effect,
    EffectEvidence,
    ModelAnswer,
    ModelChance,
    Quantiles,
    RuleOfThumb,
    Scale,
)
from model.predict import Plant, log_time_ratio
from model.priors import REFERENCE_KAPPA, CommonParameters, rule_shares, total_spread

ASSUMPTION = (
    "Given service, seller and temperature, a box's delay says nothing else about its condition. Counts are taken "
    "once, at unboxing. Time ratios hold at 20 °C, above chilling."
)
NO_EVIDENCE = EffectEvidence(boxes=0, plants=0)


def answer_model(engine: Engine) -> ModelAnswer:
    """Return the active model."""
    draws, reference = engine.draws, engine.reference
    parameters = draws.parameters
    spread = total_spread(parameters.scales, reference)
    common = CommonParameters(parameters.alpha, parameters.kappa, parameters.delta, parameters.log_q10, parameters.h0)
    shares = rule_shares(reference.rules, common, spread=spread)
    rules = []
    for rule, share in zip(reference.rules, shares.T, strict=True):
        low, high = np.quantile(share, [0.1, 0.9])
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
    scales = {
        **parameters.scales,
        "q10": np.exp(parameters.log_q10),
        "chill_rate": parameters.chill_rate,
        "h0": parameters.h0,
        "kappa": parameters.kappa,
        "delta": parameters.delta,
    }
    return ModelAnswer(
        model_version=engine.model_version,
        fitted=None,
        boxes=0,
        assumption=ASSUMPTION,
        rules=rules,
        scales=[Scale(name=name, prior=_quantiles(values)) for name, values in scales.items()],
        effects=[_genus_effect(engine, name) for name in reference.genera],
        diagnostics={
            "draws": draws.n_draws,
            "kappa_draws_replaced": parameters.n_replaced,
            "spread_median": float(np.median(spread)),
        },
    )


def _genus_effect(engine: Engine, name: str) -> Effect:
    """Return TR0 x exp(-deviation / kappa) of a genus against an average aroid packed alike."""
    draws, genus = engine.draws, engine.reference.genera[name]
    sd = draws.parameters.scales["genus_multiplier"] * (REFERENCE_KAPPA * genus.time_ratio_sd_log)
    deviation = draws.effect("genus", name, sd)
    plain = Plant(genus)
    ratio = np.exp(log_time_ratio(plain, engine.reference) - deviation / draws.parameters.kappa)
    return Effect(kind="genus", name=name, time_ratio=_quantiles(ratio), evidence=NO_EVIDENCE)


def _quantiles(values: NDArray[np.float64]) -> Quantiles:
    p10, p50, p90 = np.quantile(values, [0.1, 0.5, 0.9])
    return Quantiles(p10=p10, p50=p50, p90=p90)

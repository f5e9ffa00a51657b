"""What the model says about itself beside the boxes of the demonstration, which are invented.

Posterior predictive checks; each box foreseen from the others; what answers rest on, by power scaling of the prior and
of the boxes. The same stands for any ledger in `GET /v1/model` and under Look back, from its last refit on.
"""

from app.cli.demo import BOXES, demo_folder, refitted
from app.learned.criticism import criticism
from app.learned.written import WrittenNames
from app.schemas import CriticismAnswer
from app.serving import PRIOR_SEED, Engine, FittedModel
from model.reference.tables import load_reference
from tests.demo_boxes import SENDERS
from tests.evidence.finding import percent

ON = {
    "boxes": "the boxes",
    "rules": "rules of thumb and tables",
    "both": "both",
    "conflict": "both, which pull apart",
    "neither": "neither moves it much",
}


def report() -> str:
    """Return the report as Markdown, of a fit made for it."""
    return written(refitted(demo_folder().joinpath(BOXES).read_bytes(), load_reference()))


def written(fit: FittedModel) -> str:
    """Return the report on a fit."""
    names = WrittenNames({sender.name.casefold(): sender.name for sender in SENDERS}, {}, {})
    told = criticism(Engine.of("demo", fit), names)
    assert told is not None
    manifest = fit.manifest
    lines = [
        "# The model beside the boxes of the demonstration",
        "",
        f"`python -m tests.evidence criticism` (a refit, about 15 s of one core; seed {PRIOR_SEED}): "
        f"{manifest.n_boxes} boxes, {manifest.n_plants} plants.",
        *(__doc__ or "").strip().split("\n")[1:],
        "",
        *(f"* {sentence}" for sentence in told.text),
        *_checks(told),
        *_left_out(told),
        *_rests(told),
        "",
        f"Pareto k of the weights: {manifest_k(fit)}.",
    ]
    return "\n".join(lines) + "\n"


def manifest_k(fit: FittedModel) -> str:
    """Return how even the weights of the scaled posteriors are."""
    found = fit.manifest.criticism
    assert found is not None
    both = (found.prior_pareto_k, found.likelihood_pareto_k)
    return ", ".join(
        f"{k:.2f} for the {what}" for k, what in zip(both, ("prior", "boxes"), strict=True) if k is not None
    )


def _checks(told: CriticismAnswer) -> list[str]:
    rows = [
        "",
        "| what came | boxes | found | the model has it come again, 95 % | less than found | |",
        "|---|---|---|---|---|---|",
    ]
    for check in told.checks:
        as_told = (lambda x: f"{x:.0f}") if check.about == "no_survivor" else percent
        what = check.label if check.about == "no_survivor" else f"share healthy, {check.label}"
        rows.append(
            f"| {what} | {check.boxes} | {as_told(check.found)} | {as_told(check.low)} to {as_told(check.high)} | "
            f"{100 * check.below:.1f} % | {'odd' if check.extreme else ''} |"
        )
    return rows


def _left_out(told: CriticismAnswer) -> list[str]:
    scores = told.left_out
    assert scores is not None
    assert scores.standard_error is not None
    return [
        "",
        f"Log score of the {scores.boxes} boxes, each foreseen from the others: {scores.score:.1f}; by the rules of "
        f"thumb alone {scores.rules:.1f}. Of one box {scores.difference:.2f} better, standard error "
        f"{scores.standard_error:.2f}. The {len(scores.by_box)} furthest apart:",
        "",
        "| box | the model | rules of thumb |",
        "|---|---|---|",
        *(f"| {box.shipment} | {box.score:.1f} | {box.rules:.1f} |" for box in scores.by_box),
    ]


def _rests(told: CriticismAnswer) -> list[str]:
    return [
        "",
        "| answer | boxes | moves with the prior | to, sd | moves with the boxes | to, sd | rests on |",
        "|---|---|---|---|---|---|---|",
        *(
            f"| {one.label} | {'' if one.boxes is None else one.boxes} | {one.prior:.2f} | {one.prior_shift:+.2f} | "
            f"{one.likelihood:.2f} | {one.likelihood_shift:+.2f} | {ON[one.on]} |"
            for one in told.rests
        ),
    ]

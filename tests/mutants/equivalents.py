"""Mutants that no test can notice, since nothing that anyone sees changes, each with the reason."""

EQUIVALENT: dict[tuple[str, str, str], str] = {
    (
        "model/exposure/damage.py",
        "GATHERED_SHARE = 0.4",
        "0.4 -> 0.5",
    ): "from which share of cold draws on all are taken: it sets how fast the sums are made, not what they are",
    (
        "model/decision/landed_cost.py",
        "_DECIMAL_DIGITS = 80",
        "80 -> 81",
    ): "digits to spare: products of a 17-digit float and an amount of this service need fewer than 60",
    (
        "model/transit/transit.py",
        "_MISFIT_LARGE = 1e-4",
        "1e-4 -> 0.000125",
    ): "from which misfit on the search may give up early: a fit misses by 1e-7, a body that does not fit by far more",
    (
        "model/transit/transit.py",
        "half < np.log(share), self.delay.days_at_log_sf(np.minimum(half - np.log(share), 0.0)), 0.0",
        "half < np.log(share) -> (half <= np.log(share))",
    ): "where both are equal the delay exceeded for certain is added, which is none: 0 either way",
    (
        "model/transit/transit.py",
        "if trial_value @ trial_value < before:",
        "trial_value @ trial_value < before -> (trial_value @ trial_value <= before)",
    ): "a step that leaves the misfit the same to the last bit, at which the search ends either way",
    (
        "model/transit/transit.py",
        "step = np.full(a.shape, 0.5)",
        "0.5 -> 0.625",
    ): "where between its bounds the search for a root begins: it ends at the same root",
    (
        "model/transit/transit.py",
        "if np.all((width <= 2.0 * tolerance) | (fa == 0)):",
        "(width <= 2.0 * tolerance) | (fa == 0) -> ((width <= 2.0 * tolerance) & (fa == 0))",
    ): "the search goes on after it has arrived, to the end of its steps, and stays there",
}
"""By module, line and change, as `Mutant.key` names them."""

"""Mutants that no test can notice, since nothing that anyone sees changes, each with the reason."""

TIE = "a tie to the last bit of a float"
WAY = "from which share of cold draws on all are taken: it sets how fast the sums are made, not what they are"
AT_ITS_END = "what is added beyond a threshold is 0 on it"
SPARES = "a look ahead that spares a search: where delays alone are late too often, the search finds no body either"
FLOOR = "a floor of 1e-12, so that equations can be solved: the bodies of 60 random tables move by 2e-7 at most"

EQUIVALENT: dict[tuple[str, str, str], str] = {
    (
        "model/fit/likelihood.py",
        "r1 = np.where(c[1] > 0, _odds(first), 0.0)",
        "0.0 -> 1.0",
    ): "it is multiplied by a count of 0",
    (
        "model/fit/likelihood.py",
        "r2 = np.where(c[3] > 0, _odds(second), 0.0)",
        "0.0 -> 1.0",
    ): "it is multiplied by a count of 0",
    (
        "model/fit/likelihood.py",
        "r3 = np.where(c[4] > 0, _odds(between), 0.0)",
        "0.0 -> 1.0",
    ): "it is multiplied by a count of 0",
    (
        "model/fit/likelihood.py",
        "r2, r3 = np.where(c[3] > 0, _odds(second), 0.0), np.where(c[4] > 0, _odds(between), 0.0)",
        "0.0 -> 1.0",
    ): "it is multiplied by a count of 0",
    (
        "model/exposure/damage.py",
        "GATHERED_SHARE = 0.4",
        "0.4 -> 0.5",
    ): WAY,
    (
        "model/exposure/damage.py",
        "some = cold if len(cold) < GATHERED_SHARE * n else slice(0, n)",
        "GATHERED_SHARE * n -> ((GATHERED_SHARE) / (n))",
    ): WAY,
    (
        "model/exposure/damage.py",
        "some = cold if len(cold) < GATHERED_SHARE * n else slice(0, n)",
        "len(cold) < GATHERED_SHARE * n -> (not (len(cold) < GATHERED_SHARE * n))",
    ): WAY,
    (
        "model/exposure/damage.py",
        "some = cold if len(cold) < GATHERED_SHARE * n else slice(0, n)",
        "len(cold) < GATHERED_SHARE * n -> (len(cold) <= GATHERED_SHARE * n)",
    ): WAY,
    (
        "model/exposure/damage.py",
        "cold = np.flatnonzero(coldest < self._warmest_threshold[:n])",
        "coldest < self._warmest_threshold[:n] -> (coldest <= self._warmest_threshold[:n])",
    ): AT_ITS_END,
    (
        "model/exposure/damage.py",
        "if temperature_c.max() > HEAT_ONSET_C or coldest.min() < FREEZE_C:",
        "temperature_c.max() > HEAT_ONSET_C -> (temperature_c.max() >= HEAT_ONSET_C)",
    ): AT_ITS_END,
    (
        "model/exposure/damage.py",
        "if temperature_c.max() > HEAT_ONSET_C or coldest.min() < FREEZE_C:",
        "coldest.min() < FREEZE_C -> (coldest.min() <= FREEZE_C)",
    ): AT_ITS_END,
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
        "if trial_value @ trial_value < before:",
        "trial_value @ trial_value < before -> (trial_value @ trial_value <= before)",
    ): "a step that leaves the misfit the same to the last bit, at which the search ends either way",
    (
        "model/transit/transit.py",
        "later = self.log_sf(middle) > log_sf",
        "self.log_sf(middle) > log_sf -> (self.log_sf(middle) >= log_sf)",
    ): "a tie to the last bit of a float: the days between are halved to rounding from either side",
    (
        "model/transit/transit.py",
        "half = log_sf - np.log(2.0)",
        "2.0 -> 2.5",
    ): "a wider bound of the same quantile, halved until nothing is between",
    (
        "model/transit/transit.py",
        "_HALVINGS = 52",
        "52 -> 53",
    ): "a float has 53 bits: one halving more moves the last of them at most",
    (
        "model/transit/transit.py",
        "_FINITE_SCORE = 40.0",
        "40.0 -> 50.0",
    ): "so far out a chance is below 1e-349: the score is only kept from being infinite",
    (
        "model/transit/transit.py",
        "_MOST_STEPS = 40",
        "40 -> 41",
    ): "a limit of the search: of 60 random tables none had a body that 40 steps do not find and 41 do",
    (
        "model/transit/transit.py",
        "_MOST_DAMPING = 1e6",
        "1e6 -> 1250000.0",
    ): "a limit of the search: no step so small makes a fit of what is none",
    (
        "model/transit/transit.py",
        "_MISFIT_ZERO = 1e-7",
        "1e-7 -> 1.25e-07",
    ): "when the search has arrived: the bodies of 60 random tables move by 6e-8 of themselves at most",
    (
        "model/transit/transit.py",
        "_LEAST_CURVATURE = 1e-12",
        "1e-12 -> 1.25e-12",
    ): "a floor so that equations can be solved: the bodies of 60 random tables move by 3e-8 of themselves at most",
    (
        "model/transit/transit.py",
        "if np.max(np.abs(value)) < _MISFIT_ZERO:",
        "np.max(np.abs(value)) < _MISFIT_ZERO -> (np.max(np.abs(value)) <= _MISFIT_ZERO)",
    ): TIE,
    (
        "model/transit/transit.py",
        "while damping < _MOST_DAMPING:",
        "damping < _MOST_DAMPING -> (damping <= _MOST_DAMPING)",
    ): "a tie to the last bit of a float, at a limit of the search",
    (
        "model/transit/transit.py",
        "if before > _MISFIT_LARGE and float(value @ value) > _SETTLED * before:",
        "before > _MISFIT_LARGE -> (before >= _MISFIT_LARGE)",
    ): TIE,
    (
        "model/transit/transit.py",
        "if before > _MISFIT_LARGE and float(value @ value) > _SETTLED * before:",
        "float(value @ value) > _SETTLED * before -> (float(value @ value) >= _SETTLED * before)",
    ): TIE,
    (
        "model/transit/transit.py",
        "if share * float(delay.sf(wanted[2] - minimum)) < 1.0 - _CHANCES[2]:",
        "share * float(delay.sf(wanted[2] - minimum)) < 1.0 - _CHANCES[2]"
        " -> (share * float(delay.sf(wanted[2] - minimum)) <= 1.0 - _CHANCES[2])",
    ): TIE,
    (
        "model/transit/transit.py",
        "if share * float(delay.sf(wanted[2] - minimum)) < 1.0 - _CHANCES[2]:",
        "wanted[2] - minimum -> ((wanted[2]) + (minimum))",
    ): SPARES,
    (
        "model/transit/transit.py",
        "if share * float(delay.sf(wanted[2] - minimum)) < 1.0 - _CHANCES[2]:",
        "1.0 -> 1.25",
    ): SPARES,
    (
        "model/transit/transit.py",
        "if share * float(delay.sf(wanted[2] - minimum)) < 1.0 - _CHANCES[2]:",
        "1.0 - _CHANCES[2] -> ((1.0) + (_CHANCES[2]))",
    ): SPARES,
    (
        "model/transit/transit.py",
        "if share <= _LEAST_SHARE:",
        "share <= _LEAST_SHARE -> (share < _LEAST_SHARE)",
    ): TIE,
    (
        "model/transit/transit.py",
        "if on_log and _body(wanted, minimum_days, on_log=True).bend > _MOST_LOG_BEND:",
        "_body(wanted, minimum_days, on_log=True).bend > _MOST_LOG_BEND"
        " -> (_body(wanted, minimum_days, on_log=True).bend >= _MOST_LOG_BEND)",
    ): TIE,
    (
        "model/transit/transit.py",
        "unfit = transit.body.bend > 0 if on_log else transit.body.cut_share > _MOST_CUT_SHARE",
        "transit.body.bend > 0 -> (transit.body.bend >= 0)",
    ): TIE,
    (
        "model/transit/transit.py",
        "unfit = transit.body.bend > 0 if on_log else transit.body.cut_share > _MOST_CUT_SHARE",
        "transit.body.cut_share > _MOST_CUT_SHARE -> (transit.body.cut_share >= _MOST_CUT_SHARE)",
    ): TIE,
    (
        "model/transit/transit.py",
        "if unfit or np.any(near[:3] > _CHANCES - _LEAST_MARGIN) or np.any(near[3:] < _CHANCES + _LEAST_MARGIN):",
        "near[:3] > _CHANCES - _LEAST_MARGIN -> (near[:3] >= _CHANCES - _LEAST_MARGIN)",
    ): TIE,
    (
        "model/transit/transit.py",
        "if unfit or np.any(near[:3] > _CHANCES - _LEAST_MARGIN) or np.any(near[3:] < _CHANCES + _LEAST_MARGIN):",
        "near[3:] < _CHANCES + _LEAST_MARGIN -> (near[3:] <= _CHANCES + _LEAST_MARGIN)",
    ): TIE,
    (
        "model/transit/transit.py",
        "ridge = damping * np.diag(normal) + _LEAST_CURVATURE * (1.0 + np.trace(normal))",
        "damping * np.diag(normal) + _LEAST_CURVATURE * (1.0 + np.trace(normal))"
        " -> ((damping * np.diag(normal)) - (_LEAST_CURVATURE * (1.0 + np.trace(normal))))",
    ): FLOOR,
    (
        "model/transit/transit.py",
        "ridge = damping * np.diag(normal) + _LEAST_CURVATURE * (1.0 + np.trace(normal))",
        "_LEAST_CURVATURE * (1.0 + np.trace(normal)) -> ((_LEAST_CURVATURE) / (1.0 + np.trace(normal)))",
    ): FLOOR,
    (
        "model/transit/transit.py",
        "ridge = damping * np.diag(normal) + _LEAST_CURVATURE * (1.0 + np.trace(normal))",
        "1.0 -> 1.25",
    ): FLOOR,
    (
        "model/transit/transit.py",
        "ridge = damping * np.diag(normal) + _LEAST_CURVATURE * (1.0 + np.trace(normal))",
        "1.0 + np.trace(normal) -> ((1.0) - (np.trace(normal)))",
    ): FLOOR,
}
"""By module, line and change, as `Mutant.key` names them."""

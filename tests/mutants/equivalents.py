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
}
"""By module, line and change, as `Mutant.key` names them."""

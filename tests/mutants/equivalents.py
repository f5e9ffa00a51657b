"""Mutants that no test can notice, since nothing that anyone sees changes, each with the reason."""

EQUIVALENT: dict[tuple[str, str, str], str] = {}
"""By module, line and change, as `Mutant.key` names them."""

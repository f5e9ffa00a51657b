"""Survival of plants in transit: a numerical library of arrays and frozen dataclasses, without files, clock or network."""

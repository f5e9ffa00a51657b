"""Survival of plants in transit: arrays and frozen dataclasses, without files, clock or network."""

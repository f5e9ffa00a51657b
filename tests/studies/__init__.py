"""Simulation studies of the fit, run as commands; their last results are kept in `results`."""

"""Mutation testing: small changes to the code, each of which some test must notice. A program, not a test.

``python -m tests.mutants`` writes what became of 100 of them to `tests/mutants/last.md`.
"""

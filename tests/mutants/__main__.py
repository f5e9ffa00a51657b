"""``python -m tests.mutants [--mutants N] [--seed SEED ...] [--only MODULE ...]``: run them and write down their fates.

Each mutant is one change to one module, in a copy of the tree; the tests that are about its module run on it, and those
that still pass have not noticed. With --only, fewer mutants or other seeds the record is printed and not written.
"""

import argparse
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

import numpy as np

from tests.mutants.equivalents import EQUIVALENT
from tests.mutants.mutations import Mutation, mutations

ROOT = Path(__file__).resolve().parents[2]
RECORD = Path(__file__).with_name("last.md")
N_MUTANTS, SEEDS = 100, [1, 5]
# A mutant that loops for ever is noticed too.
MOST_SECONDS = 600
TESTS_OF = {
    "model/fit/likelihood.py": ["tests/model/test_likelihood.py"],
    "model/exposure/damage.py": ["tests/model/test_damage.py"],
    "model/decision/decision.py": ["tests/model/test_decision.py"],
    "model/decision/landed_cost.py": ["tests/model/test_landed_cost.py"],
    "app/claims/clocks.py": ["tests/app/test_claim_clocks.py"],
    "app/learning/gate.py": ["tests/app/test_gate.py"],
    "model/transit/transit.py": ["tests/model/test_transit.py"],
}
KILLED, SURVIVED, ARGUED = "killed", "survived", "equivalent"


class Mutant(NamedTuple):
    """A mutation of a module, with the line it is on and the words that it changes."""

    module: str
    mutation: Mutation
    line: str
    before: str

    @property
    def key(self) -> tuple[str, str, str]:
        """What names it in `EQUIVALENT`: module, line and change."""
        return self.module, self.line, f"{self.before} -> {self.mutation.text}"


def drawn(tree: Path, n: int, seed: int, modules: list[str]) -> Iterator[Mutant]:
    """Yield mutants drawn without replacement, as many of each module as of every other."""
    rng = np.random.default_rng(seed)
    for i, module in enumerate(modules):
        source = (tree / module).read_bytes()
        found = mutations(source)
        wanted = min(n // len(modules) + (i < n % len(modules)), len(found))
        for index in sorted(rng.choice(len(found), wanted, replace=False)):
            made = found[index]
            line = source.splitlines()[made.line - 1].decode().strip()
            yield Mutant(module, made, line, source[made.start : made.end].decode())


def passes(tree: Path, tests: list[str]) -> bool:
    """Return whether tests pass in a tree."""
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-n0", "-p", "no:cacheprovider", *tests]
    try:
        done = subprocess.run(
            command, cwd=tree, env=os.environ | {"PYTHONDONTWRITEBYTECODE": "1", "CI": "1"},
            capture_output=True, text=True, check=False, timeout=MOST_SECONDS,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return False
    return done.returncode == 0


def fate(tree: Path, mutant: Mutant) -> str:
    """Return what becomes of a mutant; the tree is afterwards as it was."""
    if mutant.key in EQUIVALENT:
        return ARGUED
    file = tree / mutant.module
    source = file.read_bytes()
    file.write_bytes(mutant.mutation.applied(source))
    try:
        return SURVIVED if passes(tree, TESTS_OF[mutant.module]) else KILLED
    finally:
        file.write_bytes(source)


def record(fates: list[tuple[Mutant, str]], seed: int) -> str:
    """Return the record of a seed as Markdown."""
    n_survived, n_argued = ([of for _, of in fates].count(wanted) for wanted in (SURVIVED, ARGUED))
    n = len(fates) - n_argued
    text = (
        f"\n## Seed {seed}\n\n"
        f"`python -m tests.mutants --mutants {len(fates)} --seed {seed}`: {n_survived} of {n} survived, "
        f"{n_survived / n:.1%}. {n_argued} more are equivalent, for the reasons below.\n\n"
        "| module | mutants | killed | survived | equivalent |\n|---|---|---|---|---|\n"
    )
    for module in TESTS_OF:
        own = [of for mutant, of in fates if mutant.module == module]
        if own:
            counts = " | ".join(str(own.count(wanted)) for wanted in (KILLED, SURVIVED, ARGUED))
            text += f"| {module} | {len(own)} | {counts} |\n"
    for wanted, heading in ((SURVIVED, "Survivors"), (ARGUED, "Equivalent")):
        text += f"\n### {heading}\n\n"
        said = [mutant for mutant, of in fates if of == wanted]
        for mutant in said:
            why = f": {EQUIVALENT[mutant.key]}" if wanted == ARGUED else ""
            change = f"`{mutant.before}` -> `{mutant.mutation.text}`"
            text += f"* {mutant.module}, line {mutant.mutation.line}, {change} in `{mutant.line}`{why}\n"
        text += "" if said else "None.\n"
    return text


def main(argv: list[str]) -> int:
    """Run the mutants that are asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutants")
    parser.add_argument("--mutants", type=int, default=N_MUTANTS)
    parser.add_argument("--seed", type=int, action="append")
    parser.add_argument("--only", choices=list(TESTS_OF), action="append")
    asked = parser.parse_args(argv)
    modules, seeds = asked.only or list(TESTS_OF), asked.seed or SEEDS
    text = "# The last run of the mutants\n"
    with TemporaryDirectory() as folder:
        tree = Path(folder) / "tree"
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".*", "__pycache__", "*.db*"))
        for module in modules:
            if not passes(tree, TESTS_OF[module]):
                print(f"{module}: its tests fail without any change", file=sys.stderr)
                return 1
        for seed in seeds:
            fates = []
            for mutant in drawn(tree, asked.mutants, seed, modules):
                fates.append((mutant, fate(tree, mutant)))
                print(f"{fates[-1][1]:10}  {mutant.module}:{mutant.mutation.line}  {mutant.key[2]}", flush=True)
            text += record(fates, seed)
    if asked.only or asked.mutants != N_MUTANTS or seeds != SEEDS:
        print(text)
    else:
        RECORD.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))

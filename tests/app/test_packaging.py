"""The lock files and the package list: what a bare machine installs."""

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
LOCKS = ("requirements.lock", "requirements-test.lock")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def pinned(lock: str) -> dict[str, str]:
    text = (ROOT / lock).read_text(encoding="utf-8")
    return dict(re.findall(r"^([a-z0-9._-]+)==(\S+)", text, flags=re.MULTILINE))


@pytest.mark.parametrize("lock", LOCKS)
def test_lock_has_no_address_link_or_path(lock: str) -> None:
    text = (ROOT / lock).read_text(encoding="utf-8")
    assert not re.search(r"https?:|file:|git\+|@ |--(extra-)?index|--find-links|-f |/\w+/|\.whl", text)


@pytest.mark.parametrize("lock", LOCKS)
def test_every_pin_has_a_hash(lock: str) -> None:
    entries = re.split(r"\n(?=[a-z0-9])", (ROOT / lock).read_text(encoding="utf-8"))[1:]
    assert len(entries) >= 15
    for entry in entries:
        assert re.match(r"[a-z0-9._-]+==[^\s]+", entry), entry
        assert re.search(r"--hash=sha256:[0-9a-f]{64}", entry), entry


def test_locks_hold_the_dependencies_and_agree() -> None:
    wanted = {re.split(r"[><=\[]", name)[0] for name in PROJECT["project"]["dependencies"]}
    tests = {re.split(r"[><=\[]", name)[0] for name in PROJECT["project"]["optional-dependencies"]["test"]}
    run, test = pinned(LOCKS[0]), pinned(LOCKS[1])
    assert wanted <= run.keys()
    assert wanted | tests <= test.keys()
    assert run.items() <= test.items()


def test_every_package_of_the_tree_is_in_the_wheel() -> None:
    listed = set(PROJECT["tool"]["setuptools"]["packages"])
    found = {
        ".".join(path.parent.relative_to(ROOT).parts)
        for top in ("app", "model")
        for path in (ROOT / top).rglob("__init__.py")
    }
    assert listed == found | {"app.demo"}
    assert PROJECT["tool"]["setuptools"]["package-dir"] == {"app.demo": "data/demo"}


def test_licence_is_told_and_goes_into_the_wheel() -> None:
    """SPDX's short name, and the file beside it."""
    assert (PROJECT["project"]["license"], PROJECT["project"]["license-files"]) == ("MIT", ["LICENSE"])
    assert (ROOT / "LICENSE").read_text(encoding="utf-8").startswith("MIT License\n\nCopyright (c) 2026 The Transit")


def test_packages_say_that_they_are_typed() -> None:
    """PEP 561: a marker at the top of each package, listed as its data."""
    for top in ("app", "model"):
        assert (ROOT / top / "py.typed").is_file()
        assert "py.typed" in PROJECT["tool"]["setuptools"]["package-data"][top]


def test_hooks_are_the_linters_of_ci_and_fetch_nothing() -> None:
    hooks = (ROOT / ".pre-commit-config.yaml").read_text(encoding="utf-8")
    assert re.findall(r"repo: (\S+)", hooks) == ["local"]
    assert set(re.findall(r"language: (\S+)", hooks)) == {"system"}
    ci = (ROOT / ".ci/run").read_text(encoding="utf-8")
    of_ci = [" ".join(words).strip() for words in re.findall(r'"\$work/test/bin/(ruff|mypy)"(?: (\w+))?', ci)]
    assert [entry.split(" --")[0] for entry in re.findall(r"entry: (.+)", hooks)] == of_ci


def test_changes_are_told_of_this_version_and_the_next() -> None:
    heads = re.findall(r"^## (.+)$", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert heads[0] == "Unreleased"
    assert PROJECT["project"]["version"] in {head.split()[0] for head in heads}

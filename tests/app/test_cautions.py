"""Cautions: stable codes, plain text, and every use fills in its text."""

import ast
from datetime import date
from pathlib import Path

import pytest

import app
from app.batch import of_journeys, percent_short_of
from app.batch.cautions import TEMPLATES, caution, fields_of

# When each text with a rule, policy or law behind it was last compared with its sources; one that changes is compared
# anew, and its date changes here too.
CHECKED = dict.fromkeys(
    [
        "papers_missing", "papers_assumed", "certificate_lapses", "certificate_age", "treatment_lapses",
        "cites_possible", "soil_free", "duty_and_tax", "storage_charges", "claim_window", "claim_practice",
    ],
    date(2026, 11, 25),
) | dict.fromkeys(["carrier_liability", "claim_window_unknown"], date(2026, 11, 27))  # fmt: skip

APP_FOLDER = Path(app.__file__).parent


def test_a_share_short_of_the_one_asked_for_does_not_look_like_it() -> None:
    assert [percent_short_of(share, 0.8) for share in (0.7, 0.7951, 0.79999)] == ["70 %", "79.5 %", "79.9 %"]


def uses() -> list[tuple[str, set[str]]]:
    """Return (code, names of the fields given) of every caution that the application raises."""
    found = []
    for file in APP_FOLDER.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "caution":
                code = node.args[0]
                assert isinstance(code, ast.Constant), f"{file.name}:{node.lineno} has no literal code"
                found.append((str(code.value), {keyword.arg or "**" for keyword in node.keywords}))
    return found


def test_every_use_gives_the_fields_of_its_text() -> None:
    found = uses()
    assert found
    for code, given in found:
        template = TEMPLATES[code]
        needed, known = fields_of(template.text), fields_of(" ".join((template.text, *template.more)))
        assert needed <= given <= known, code


def test_every_text_is_raised_somewhere() -> None:
    assert TEMPLATES.keys() == {code for code, _ in uses()}


@pytest.mark.parametrize("code", sorted(TEMPLATES))
def test_text_is_a_sentence_with_a_date_where_a_rule_stands_behind_it(code: str) -> None:
    template = TEMPLATES[code]
    names = fields_of(" ".join((template.text, *template.more)))
    made = caution(code, **dict.fromkeys(names, "{x}"))
    assert made.code == code
    assert made.text.endswith(".")
    assert made.text.count("{x}") >= len(names)
    assert made.checked == CHECKED.get(code)
    assert code not in CHECKED or made.decided_by


def test_optional_sentence_follows_its_field() -> None:
    assert caution("unknown_genus", genus="Anthurum", nearest="Anthurium").text.endswith("spelling is Anthurium.")
    assert caution("unknown_genus", genus="Anthurum", nearest=None) == caution("unknown_genus", genus="Anthurum")


def test_wrong_fields_are_refused() -> None:
    with pytest.raises(KeyError):
        caution("old_name", genus="Anthurum")
    with pytest.raises(TypeError, match="no field colour"):
        caution("old_name", genus="Anthurum", accepted="Anthurium", colour="red")
    with pytest.raises(KeyError):
        caution("no_such_code")


def test_shares_are_said_in_per_cent_and_hours_as_given() -> None:
    text = caution("logger_partial", share=0.2207).text
    assert text.startswith("The logger covers 22 % of the time")
    journeys = of_journeys({"courier": 0.8449, "air cargo": 0.2})
    assert journeys == "84 % of the journeys on courier and 20 % on air cargo"
    assert (
        of_journeys({"courier": 1.0, "air cargo": 0.9967})
        == "all of the journeys on courier and over 99 % on air cargo"
    )
    text = caution("heat_pack_short", hours=72.0, journeys=journeys).text
    assert text.startswith(f"The heat pack lasts 72 h, shorter than {journeys}: after that")

"""The reference tables: complete, sourced, in line with the trade's numbers and a published list of chilling injury."""

import numpy as np
import pytest

from model.reference.row_types import Genus
from model.reference.rows import STATUSES, TABLES, ReferenceTableError, read_rows, typed_rows
from model.reference.tables import load_reference
from tests.model.chilling_lists import HARMED, UNHARMED

REFERENCE = load_reference()

SPECIES_DISAGREE = ("Ficus",)


def genus(name: str) -> Genus:
    found, near = REFERENCE.find_genus(name)
    assert found is not None, f"{name} is unknown, nearest {near}"
    return found


@pytest.mark.parametrize("table", TABLES)
def test_every_row_has_a_source_and_a_known_status(table: str) -> None:
    rows = read_rows(table)
    assert rows
    sources = [column for column in rows[0] if column.endswith("source")]
    statuses = [column for column in rows[0] if column.endswith("status")]
    assert [column.removesuffix("source") for column in sources] == [c.removesuffix("status") for c in statuses]
    assert sources
    for row in rows:
        assert all(row[column].strip() for column in sources), row
        assert all(row[column] in STATUSES for column in statuses), row
        assert None not in row, f"too many cells: {row}"
        assert None not in row.values(), f"too few cells: {row}"


def test_a_bad_cell_is_refused_by_file_line_and_column(monkeypatch: pytest.MonkeyPatch) -> None:
    broken = ({**read_rows("genera")[0], "time_ratio": "long"},)
    monkeypatch.setattr("model.reference.rows.read_rows", lambda _table: broken)
    with pytest.raises(ReferenceTableError, match=r"genera\.csv line 2, column time_ratio"):
        list(typed_rows("genera", Genus))


def test_as_many_genera_and_groups_as_the_trade_needs() -> None:
    groups = {row.group for row in REFERENCE.genera.values()}
    assert len(REFERENCE.genera) >= 90
    assert groups >= {
        "aroid", "hoya", "peperomia", "begonia", "prayer_plant", "fern", "orchid", "bromeliad", "succulent", "cactus",
        "fig", "woody", "dracaena", "palm", "carnivorous",
    }  # fmt: skip


def test_genera_point_to_known_classes_and_carry_usable_numbers() -> None:
    for row in REFERENCE.genera.values():
        assert row.chill_class in REFERENCE.chill_classes
        assert 0.2 <= row.time_ratio <= 6.0
        assert 0.1 <= row.time_ratio_sd_log <= 0.7
        # Tropical foliage: chilling range just above 0 to 15 °C (Chen et al., UF/IFAS EDIS EP101, EP103, EP530).
        assert 0 < row.chill_threshold_c <= 15, row.genus


def test_travel_order_of_the_trade() -> None:
    """Common practice: Anthurium travels very well, Scindapsus well, Syngonium is mixed."""
    assert genus("Anthurium").time_ratio > genus("Scindapsus").time_ratio > genus("Syngonium").time_ratio
    assert genus("Syngonium").time_ratio_sd_log > genus("Anthurium").time_ratio_sd_log


def test_scales_are_learned_with_a_spread_or_fixed_without() -> None:
    for scale in REFERENCE.prior_scales.values():
        assert scale.median > 0
        if scale.kind == "learned":
            assert scale.sd_log is not None
            assert scale.sd_log > 0
        else:
            assert (scale.kind, scale.sd_log) == ("fixed", None)


def test_services_pair_delay_columns_with_their_kind() -> None:
    paired = {"flights": ("flight_interval_days", "again_share"), "hold": ("delay_median_days", "delay_sd_log")}
    for row in REFERENCE.services.values():
        for kind, columns in paired.items():
            for column in columns:
                assert (getattr(row, column) is not None) == (row.delay_kind == kind), f"{row.service} {column}"
        assert row.min_days <= row.p10_days < row.p50_days < row.p90_days
        assert row.freight_low < row.freight_high
        assert all(hub in REFERENCE.places for hub in row.hubs.split())


def test_services_repeat_the_trade() -> None:
    """Common practice: courier 3/5/10 days and 125-175; air cargo 2/2.5/4 days and 300-350."""
    courier, cargo = REFERENCE.services["courier"], REFERENCE.services["air_cargo"]
    assert (courier.p10_days, courier.p50_days, courier.p90_days) == (3, 5, 10)
    assert (cargo.p10_days, cargo.p50_days, cargo.p90_days) == (2, 2.5, 4)
    assert (courier.freight_low, courier.freight_high, cargo.freight_low, cargo.freight_high) == (125, 175, 300, 350)


def test_legs_of_a_service_share_the_whole_time_in_order() -> None:
    for service, legs in REFERENCE.legs.items():
        assert sum(leg.share for leg in legs) == pytest.approx(1, abs=1e-9), service
        assert [leg.order for leg in legs] == list(range(len(legs)))
        assert legs[0].leg == "wait"
        assert legs[0].share == 0
        for leg in legs:
            assert 0 <= leg.shelter <= 1
            assert leg.place in {"origin", "hub", "destination"}


def test_rules_have_their_best_guess_inside_their_range() -> None:
    ranges = [(rule.low, rule.best, rule.high) for rule in REFERENCE.rules]
    ranges += [(rule.low, rule.best, rule.high) for rule in REFERENCE.late_loss_rules]
    assert all(0 < low < best < high < 1 for low, best, high in ranges)
    healthy = sorted((r for r in REFERENCE.rules if r.outcome == "healthy"), key=lambda r: r.days)
    # Share healthy at 3 / 7 / 10 / 14 / 21 days: common practice, our reading.
    assert {r.days: r.best for r in healthy if r.days >= 3} == {3: 0.98, 7: 0.87, 10: 0.68, 14: 0.33, 21: 0.05}
    assert all(np.diff([r.best for r in healthy]) < 0)


def test_old_and_trade_names_lead_to_a_genus_of_the_table() -> None:
    assert len(REFERENCE.old_names) >= 50
    for name in REFERENCE.old_names:
        assert REFERENCE.find_genus(name)[0] is not None, name


# Accepted names of the World Checklist (Plants of the World Online), from memory.
@pytest.mark.parametrize(
    ("name", "accepted"),
    [("Sansevieria", "Dracaena"), ("calathea", "Goeppertia"), (" Philodendron  selloum ", "Thaumatophyllum"),
     ("Saintpaulia", "Streptocarpus"), ("ANTHURIUM", "Anthurium")],
)  # fmt: skip
def test_a_name_is_found_whatever_its_case_and_spaces(name: str, accepted: str) -> None:
    assert genus(name).genus == accepted


@pytest.mark.parametrize(("name", "near"), [("Anturium", "Anthurium"), ("Sindapsus", "Scindapsus"), ("Qqxyz", None)])
def test_a_misspelt_name_is_unknown_and_names_the_nearest(name: str, near: str | None) -> None:
    assert REFERENCE.find_genus(name) == (None, near)


def test_chill_classes_agree_with_every_genus_of_rh_93_6() -> None:
    assert {name: genus(name).chill_class for name in UNHARMED} == dict.fromkeys(UNHARMED, "tolerant")
    assert [name for name in HARMED if genus(name).chill_class == "tolerant"] == []
    assert all("species disagree" in genus(name).class_source for name in SPECIES_DISAGREE)


def test_a_genus_is_as_sure_as_its_least_sure_column() -> None:
    araucaria, anthurium = genus("Araucaria"), genus("Anthurium")
    assert (araucaria.class_status, araucaria.status) == ("published", "judgement")
    assert (anthurium.time_ratio_status, anthurium.threshold_status) == ("common practice", "judgement")
    assert all(part in araucaria.source for part in ("time ratio: by judgement", "class: UF RH-93-6", araucaria.note))

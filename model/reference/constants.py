"""Judged numbers that belong to no other table: one row each in constants.csv, one field each here.

Counts of nodes, tolerances and limits of input are no judgements about plants, weather, boxes or carriers: they stand
beside the code that needs them, and `revision` covers them.
"""

from dataclasses import dataclass, fields
from functools import cache
from typing import Any

from model.reference.rows import ReferenceTableError, convert, typed_rows


@dataclass(frozen=True, slots=True)
class ConstantRow:
    """A row of constants.csv: the value as text, its unit (blank for a share, a factor or a word), source, status."""

    name: str
    value: str
    unit: str
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Constants:
    """The judged constants by name; their units, sources and status stand in constants.csv."""

    # The thermal clock.
    reference_c: float
    heat_onset_c: float
    heat_z_c: float
    heat_rate_per_day: float
    freeze_c: float
    freeze_rate_per_day_c: float
    # Plants: what is not known of them.
    threshold_sd_c: float
    unknown_threshold_c: float
    unknown_threshold_sd_c: float
    unknown_chill_class: str
    unknown_class_spread: float
    # What differs between boxes, and from quarter to quarter.
    consignment_share: float
    drift_correlation: float
    late_loss_box_sd: float
    # The prior.
    reference_kappa: float
    spoilt_death_offset: float
    smallest_delta_shape: float
    deviation_degrees: float
    # The box.
    inside_film_m2k_per_w: float
    outside_film_m2k_per_w: float
    iron_heat_j_per_g: float
    pack_iron_g: float
    pack_freezes_c: float
    pack_most_rise_c: float
    cold_pack_ice_kg: float
    cold_pack_spent_c: float
    cold_pack_most_cooling_c: float
    # Weather.
    warmest_hour: float
    lapse_c_per_m: float
    forecast_sd_first_c: float
    forecast_sd_per_day_c: float
    far_place_km: float
    # The journey.
    wait_h: float
    closing_hour: int
    long_lane_km: float
    shortest_lane_share: float
    near_hub_km: float
    papers_sd_log: float
    longest_transit_days: int
    longest_journey_days: float
    # Times in transit, learned.
    transit_service_part: float
    transit_lane_part: float
    transit_least_spread: float
    transit_spread_sd_log: float
    transit_skew_sd_log: float
    transit_size_sd_log: float
    transit_hold_sd_log: float
    transit_again_worth_boxes: float
    transit_share_worth_boxes: float
    transit_lost_share: float
    # A box on its way.
    least_delay_share: float
    clearance_hold_share: float
    papers_settled_days: float
    worth_a_call_days: float
    late_chance: float
    silent_days: float
    far_late_chance: float
    # When something is worth a caution.
    notable_share: float
    least_under_way_share: float
    sure_share: float
    notable_chill_days: float
    notable_late_payment_share: float
    too_warm_inside_c: float
    coldest_evidence_c: float
    warmest_evidence_c: float
    logger_notable_share: float
    outcome_days: int
    # Once the box is open.
    rehydrate_days: int
    recheck_days: int
    recheck_open_days: int
    recheck_earliest_days: int
    recheck_latest_days: int
    isolate_least_weeks: int
    isolate_most_weeks: int
    # Claims and money.
    claim_chance: float
    claim_window_h: int
    claim_window_shortest_h: int
    claim_window_longest_days: int
    carrier_damage_notice_days: int
    carrier_delay_notice_days: int
    carrier_liability_sdr_per_kg: int
    damaged_value_share: float
    bearable_loss_share: float
    wanted_confidence: float
    order_confidence: float
    wish_confidence: float
    equal_orders: int
    equal_cost_share: float
    wait_helps_chance: float
    orders_a_year: int
    asked_boxes: int
    learning_boxes: int
    longest_heat_pack_h: float
    # Sellers.
    usual_late_share: float
    usual_damaged_share: float
    usual_dead_share: float
    usual_worth_trials: float
    average_worth_boxes: float
    average_worth_plants: float
    average_worth_claims: float
    within_box_correlation: float
    few_boxes: int
    # Boxes lost whole, and records that are wrong.
    lost_healthy: float
    lost_dead: float
    wrong_box_share: float
    wrong_line_share: float
    # Records: how often they are wrong, and from when on that is said.
    slip_fahrenheit_share: float
    slip_fahrenheit_file_share: float
    slip_month_share: float
    slip_day_month_share: float
    slip_swapped_share: float
    slip_swapped_line_share: float
    slip_digit_share: float
    slip_other_share: float
    slip_named_chance: float
    row_given_up_ratio: float
    journey_mean_sd_c: float
    table_worth_boxes: float
    odd_wait_share: float
    journey_mean_degrees: float
    like_days_share: float
    boxes_that_may_slip: float
    slip_least_logged: int
    slip_hinted_days: int
    misspelt_letters: int
    misspelt_most_letters: int
    lost_worth_saying: float
    # Whether a fit is served.
    gate_least_boxes: int
    gate_worse_errors: float
    gate_outside_widths: float
    gate_further_widths: float
    # What is said of forecasts once boxes have come, and of sellers over time.
    record_least_boxes: int
    record_perhaps_chance: float
    record_hardly_chance: float
    record_least_misses: int
    record_part_boxes: int
    trend_sure_chance: float
    trend_likely_chance: float
    fall_time_ratio: float
    fall_least_boxes: int
    fall_likelier_one_box: float
    fall_likelier_two_boxes: float
    fall_least_draws: int


@cache
def load_constants() -> Constants:
    """Read every constant, once a process.

    Raises
    ------
    ReferenceTableError
        When a name stands twice, is missing or unknown, or its value has the wrong type.
    """
    kinds = {field.name: field.type for field in fields(Constants)}
    values: dict[str, Any] = {}
    for line, row in enumerate(typed_rows("constants", ConstantRow), start=2):
        if row.name not in kinds or row.name in values:
            raise ReferenceTableError(f"constants.csv line {line}: {row.name} is unknown or stands twice")
        try:
            values[row.name] = convert(row.value, kinds[row.name])
        except ValueError as error:
            raise ReferenceTableError(f"constants.csv line {line}, column value: {error}") from error
    if missing := kinds.keys() - values.keys():
        raise ReferenceTableError(f"constants.csv: {', '.join(sorted(missing))} missing")
    return Constants(**values)


CONSTANTS = load_constants()

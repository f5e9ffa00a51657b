"""What comparing recommends and says: the cases without a route, splitting, break-even, what was assumed."""

import re

import pytest

from app.batch import apart, money, percent, rough
from app.batch.batch import prepare
from app.schemas.compare import Splitting
from tests.app.batches import (
    CARGO,
    COSTS,
    COURIER,
    EVERY_DAY,
    Fields,
    compare,
    compare_request,
    engine,
    fixed,
    line,
    outcomes,
)

TWO_BOXES: Fields = {"container": "foam_box", "roots": "damp_wrap", "capacity": 40}
SLOW: Fields = COURIER | {"transit_days": {"p10": 7, "p50": 10, "p90": 14}}


class TestRecommended:
    """Best mean margin among the routes that keep the bearable loss."""

    def test_best_margin_among_those_that_keep_the_loss(self) -> None:
        answer = compare(routes=[COURIER, CARGO, COURIER | {"name": "dear", "freight": 151}])
        best = max(answer.routes, key=lambda route: route.money.margin.mean)
        assert answer.recommended == best.name == "courier"
        assert best.chance_loss_within_limit >= 0.8
        assert answer.reason.startswith("Take courier")
        assert sum(route.chance_best for route in answer.routes) == pytest.approx(1.0)

    def test_prices_too_high(self) -> None:
        answer = compare(lines=[line("Aglaonema", 20, unit_cost=100)])
        assert answer.recommended is None
        assert answer.reason.startswith("Do not order at these prices")

    def test_loss_unbearable_names_the_least_bad(self) -> None:
        answer = compare(risk={"max_loss_share": 0.0, "confidence": 0.999})
        other, least = sorted(answer.routes, key=lambda route: route.chance_loss_within_limit)
        assert answer.recommended is None
        assert answer.reason.startswith("No route keeps the loss within 0 % dead")
        assert " with 99.9 % chance: " in answer.lead
        gap = round(other.money.margin.mean) - round(least.money.margin.mean)
        bad = round(other.money.worst_5pct_margin) - round(least.money.worst_5pct_margin)
        less, spared = (f"{abs(amount):.0f} GBP {'more' if amount > 0 else 'less'}" for amount in (gap, bad))
        assert (
            f"the least bad, {least.name}, does with {100 * least.chance_loss_within_limit:.0f} %, "
            f"{least.plants.healthy_two_weeks.mean:.0f} of 32 plants healthy two weeks on, "
            f"margin {least.money.margin.mean:.0f} GBP; {other.name} keeps it with "
            f"{100 * other.chance_loss_within_limit:.0f} %, leaves {less} on average, "
            f"{'but' if gap * bad < 0 else 'and'} {spared} in the worst 1 in 20."
        ) in answer.lead

    def test_only_routes_that_lose_money_are_safe(self) -> None:
        answer = compare(routes=[SLOW, CARGO | {"freight": 3000}], risk={"max_loss_share": 0.1, "confidence": 0.8})
        slow, cargo = answer.routes
        assert slow.money.margin.mean > 0 > cargo.money.margin.mean
        assert slow.chance_loss_within_limit < 0.8 <= cargo.chance_loss_within_limit
        assert answer.recommended is None
        assert "air cargo, loses" in answer.lead
        assert re.search(r"on average; courier keeps it with \d+ %, leaves [\d,]+ GBP more on average", answer.lead)

    def test_safer_route_is_taken_though_another_earns_more(self) -> None:
        answer = compare(routes=[SLOW, CARGO | {"freight": 400}], risk={"max_loss_share": 0.1, "confidence": 0.8})
        slow, cargo = answer.routes
        assert slow.money.margin.mean > cargo.money.margin.mean > 0
        assert answer.recommended == "air cargo"
        assert "; courier would leave" in answer.lead
        assert "but keeps the loss within 10 % dead only with" in answer.lead


class TestLead:
    """One sentence: what to take, and what the best alternative costs and saves."""

    def test_alternative_on_average_and_in_a_bad_case(self) -> None:
        answer = compare(draws=4096)
        courier, cargo = answer.routes
        # Of the amounts as both are shown: whoever takes one from the other finds what is said.
        less = round(courier.money.margin.mean) - round(cargo.money.margin.mean)
        spared = round(cargo.money.worst_5pct_margin) - round(courier.money.worst_5pct_margin)
        assert less > 30
        assert spared > 30
        assert answer.lead == (
            f"Take courier: {courier.plants.healthy_two_weeks.mean:.0f} of 32 plants healthy two weeks on, "
            f"margin {courier.money.margin.mean:.0f} GBP; air cargo leaves {less:.0f} GBP less on average, but "
            f"{spared:.0f} GBP more in the worst 1 in 20."
        )
        assert answer.reason.startswith(answer.lead)

    def test_about_equal_takes_the_safer_and_says_so(self) -> None:
        """With air cargo nearly as cheap as courier the means are within noise; it is the safer."""
        answer = compare(routes=[COURIER, CARGO | {"freight": 215}], draws=4096)
        courier, cargo = answer.routes
        assert 0 < courier.money.margin.mean - cargo.money.margin.mean < 0.02 * cargo.money.landed_cost
        assert cargo.money.worst_5pct_margin > courier.money.worst_5pct_margin + 50
        assert answer.recommended == "air cargo"
        assert "; courier is about equal on average (" in answer.lead
        assert answer.lead.endswith("less in the worst 1 in 20; this is the safer one.")


def test_halves_are_rounded_up_as_browsers_round_them() -> None:
    """ECMA-402's Intl.NumberFormat rounds halves away from zero: 1,152.50 is 1,153 and -2.5 is -3."""
    assert [rough(amount, "GBP") for amount in (1152.5, 984.5, -370.5, 0.125)] == [
        "1,153 GBP",
        "985 GBP",
        "-371 GBP",
        "0.13 GBP",
    ]
    assert (percent(0.125), money(-0.001, "GBP")) == ("13 %", "0.00 GBP")
    assert apart(741.4, 894.6) == -154.0


class TestActs:
    """At most three cautions to act on, by what their remedy would change."""

    def test_the_most_worth_come_first_and_are_worth_what_playing_them_through_gives(self) -> None:
        fields: Fields = {"ship_date": "2027-01-15", "paperwork": {"invoice": False}, "draws": 1024}
        fields |= {
            "packing": {"container": "carton", "roots": "damp_wrap", "capacity": 60},
            "recourse": {"kind": "none"},
        }
        answer = compare(**fields)
        acts = [caution for caution in answer.cautions if caution.act]
        assert [*answer.cautions[:3]] == acts
        found = [int(re.search(r"worth about ([\d,]+) GBP", act.text)[1].replace(",", "")) for act in acts]  # type: ignore[index]
        assert found == sorted(found, reverse=True)
        papers = next(found[i] for i, act in enumerate(acts) if act.code == "papers_missing")
        name = re.search(r": on (.+) that is worth", acts[0].text)[1]  # type: ignore[index]
        gain = [
            next(route.money.margin.mean for route in one.routes if route.name == name)
            for one in (answer, compare(**fields | {"paperwork": {"invoice": True}}))
        ]
        assert papers == pytest.approx(gain[1] - gain[0], abs=1.0)

    def test_what_would_change_little_is_left_to_its_moment(self) -> None:
        answer = compare()
        assert not any(caution.act for caution in answer.cautions)
        assert {caution.moment for caution in answer.cautions} == {"before_paying", "packing", "arrival"}

    def test_no_more_than_one_line_for_all_routes(self) -> None:
        codes = [caution.code for caution in compare(routes=[COURIER, CARGO, CARGO | {"name": "other"}]).cautions]
        assert len(codes) == len(set(codes))

    def test_usual_times_are_not_said_to_be_given(self) -> None:
        """The table's share of late flights does not fit beside its quantiles; only the buyer's can be mended."""
        short = {"p10": 2, "p50": 2.5, "p90": 3}
        given = compare(routes=[CARGO | {"transit_days": short}])
        assert "delay_share_lowered" in {caution.code for caution in given.cautions}
        assert "delay_share_lowered" not in {caution.code for caution in compare().cautions}


class TestSplitting:
    """80 plants in 2 boxes by a slow courier: apart they cost one more handling and certificate, 28 + 35."""

    lines = (line("Aglaonema", 80),)

    def splitting(self, **fields: object) -> tuple[Splitting, str]:
        """Return what is said about splitting, and the reason."""
        batch = {"lines": list(self.lines), "packing": TWO_BOXES, "routes": [SLOW]} | fields
        answer = compare(**batch)
        assert answer.routes[0].boxes == 2
        assert answer.routes[0].splitting is not None
        return answer.routes[0].splitting, answer.reason

    def test_what_it_costs_and_buys(self) -> None:
        said, reason = self.splitting()
        assert (said.boxes, said.extra_cost) == (2, 63.0)
        assert said.chance_none_healthy.apart < said.chance_none_healthy.together
        assert said.worst_5pct_margin.apart > said.worst_5pct_margin.together - 63.0
        assert "costs 63.00 GBP more" in said.text
        assert said.text in reason

    def test_it_does_not_pay_on_average(self) -> None:
        said, _ = self.splitting()
        assert not said.pays
        assert "does not pay" in said.text

    def test_neither_better_is_said_plainly(self) -> None:
        said, reason = self.splitting(draws=4096)
        assert said.chance_loss_within_limit.apart <= said.chance_loss_within_limit.together
        assert said.worst_5pct_margin.apart <= said.worst_5pct_margin.together
        assert said.text.endswith("neither is better, so it does not pay.")
        assert "worth" not in reason

    def test_one_better_is_left_to_the_buyer(self) -> None:
        free = {"costs": COSTS | {"phyto": 0}, "routes": [SLOW | {"handling": 10}]} | EVERY_DAY
        said, _ = self.splitting(**free, draws=4096)
        assert not said.pays
        assert said.worst_5pct_margin.apart > said.worst_5pct_margin.together
        assert said.text.endswith("it does if that safety is worth 10.00 GBP to you.")

    def test_what_costs_nothing_more_is_not_weighed_against_nothing(self) -> None:
        free = {"costs": COSTS | {"phyto": 0}, "routes": [SLOW | {"handling": 0}]}
        answer = compare(lines=list(self.lines), packing=TWO_BOXES, **free, draws=4096)
        said = answer.routes[0].splitting
        assert said is not None
        assert said.worst_5pct_margin.apart > said.worst_5pct_margin.together
        assert said.pays
        assert "costs nothing more" in said.text
        assert said.text.endswith(": send them apart.")
        # More than the 2 % of the landed cost up to which an amount is about nothing: it is a thing to do.
        spared = said.worst_5pct_margin.apart - said.worst_5pct_margin.together
        acts = [caution.text for caution in answer.cautions if caution.act]
        assert (f"courier: {said.text}" in acts) == (spared > 0.02 * answer.routes[0].money.landed_cost)
        assert (said.text in answer.reason) == (f"courier: {said.text}" not in acts)

    def test_it_pays_where_only_apart_keeps_the_loss(self) -> None:
        # With 60 % bearable one box of two may be lost.
        share = self.splitting(risk={"max_loss_share": 0.6, "confidence": 0.8})[0].chance_loss_within_limit
        assert share.apart > share.together
        between = (share.apart + share.together) / 2
        answer = compare(
            lines=list(self.lines),
            packing=TWO_BOXES,
            routes=[SLOW],
            risk={"max_loss_share": 0.6, "confidence": between},
        )
        said = answer.routes[0].splitting
        assert said is not None
        assert said.pays
        assert "it pays, since only apart" in said.text
        # It changes what to choose, so it is the first thing to do, and said once.
        assert answer.cautions[0].act
        assert answer.cautions[0].text == f"courier: {said.text}"
        assert said.text not in answer.reason

    def test_asked_apart_or_together_it_is_the_same_comparison(self) -> None:
        apart, together = (self.splitting(routes=[SLOW | {"travel": travel}])[0] for travel in ("apart", "together"))
        assert apart == together

    def test_single_box_cannot_be_split(self) -> None:
        assert compare().routes[0].splitting is None

    def test_boxes_apart_share_seller_and_weather_and_so_spread_less_than_together_but_more_than_alone(self) -> None:
        def drawn(**route: object) -> float:
            fields: Fields = {"lines": list(self.lines), "packing": TWO_BOXES, "routes": [SLOW | route], "draws": 4096}
            healthy = outcomes(**fields).healthy[:, 0]
            assert healthy.mean() == pytest.approx(48.0, abs=2.0)
            return float(healthy.std())

        together, apart = drawn(travel="together"), drawn(travel="apart")
        assert together / 2**0.5 < apart < 0.97 * together


class TestBreakEven:
    """Where the faster and dearer route overtakes."""

    def batch(self, n: int) -> Fields:
        """Return one line of n plants in one big box, on two routes of fixed time."""
        return {
            "lines": [line("Alocasia", n, sale_value=25)],
            "packing": TWO_BOXES | {"capacity": 1000},
            "routes": [COURIER | {"transit_days": fixed(8.0)}, CARGO | {"transit_days": fixed(3.0)}],
            "draws": 4096,
        }

    def gain(self, n: int) -> float:
        """Return by how much air cargo is ahead with n plants."""
        slow, fast = compare(**self.batch(n)).routes
        return fast.money.margin.mean - slow.money.margin.mean

    def test_it_is_a_root(self) -> None:
        found = compare(**self.batch(40)).break_even
        assert found is not None
        assert (found.from_, found.to) == ("courier", "air cargo")
        n = round(found.plants)
        assert 10 < n < 100
        assert found.batch_sale_value == pytest.approx(25 * n)
        # Plants are drawn one by one with the same numbers: re-run at another size, the root moves by a plant at most.
        assert self.gain(n - 2) < 0 < self.gain(n + 2)
        per_plant = (self.gain(n + 2) - self.gain(n - 2)) / 4
        assert abs(self.gain(n)) < 2 * per_plant
        assert abs(self.gain(n - 1)) < 2 * per_plant

    def test_none_for_a_single_route_or_when_the_dearer_is_never_worth_it(self) -> None:
        assert compare(routes=[COURIER]).break_even is None
        same = {"transit_days": fixed(4.0)}
        assert compare(routes=[COURIER | same, COURIER | same | {"name": "dear", "freight": 300}]).break_even is None


class TestAssumed:
    """Defaults that cost money are visible."""

    minimal: Fields = {
        name: {} for name in ("costs", "recourse", "risk", "paperwork", "packing")
    } | {"routes": [{"name": "courier", "service": "courier", "freight": 150}]}  # fmt: skip

    def test_each_cost_left_out_is_listed_and_in_no_sum(self) -> None:
        routes = [*self.minimal["routes"], {"name": "air cargo", "service": "air_cargo", "freight": 300}]
        answer = compare(**self.minimal | {"routes": routes})
        left_out = {one.pointer: one for one in answer.not_counted}
        # Only what travels by air is fetched from the airport.
        assert [*left_out] == [
            "/costs/phyto", "/costs/permit", "/costs/duty_rate", "/costs/tax_rate", "/costs/other",
            "/routes/0/handling", "/routes/1/handling", "/routes/1/collection",
        ]  # fmt: skip
        # Certificate 25-50 and permit 25-35: common practice.
        usual = {pointer: (one.usual.low, one.usual.high) for pointer, one in left_out.items() if one.usual}
        assert usual == {"/costs/phyto": (25, 50), "/costs/permit": (25, 35)}
        courier, cargo = (route.money for route in answer.routes)
        assert courier.without == "without certificate, permit, duty, tax, other costs, handling: not given"
        assert cargo.without == "without certificate, permit, duty, tax, other costs, handling, collection: not given"
        # 18 x 8 + 14 x 12 = 312, and the freight.
        assert (courier.landed_cost, cargo.landed_cost) == (462.0, 612.0)

    def test_other_defaults_are_listed(self) -> None:
        answer = compare(**self.minimal)
        values = {assumed.pointer: assumed.value for assumed in answer.assumed}
        for pointer in (
            "/recourse/kind", "/risk/max_loss_share", "/risk/confidence", "/packing/capacity", "/routes/0/boxes",
            "/routes/0/transit_days/p50",
        ):  # fmt: skip
            assert pointer in values
        # What duty is taken on, and how much tax comes back, says nothing where there is neither.
        assert not any(pointer.startswith("/costs/") for pointer in values)
        taxed = compare(**self.minimal | {"costs": {"tax_rate": 0.2}}).assumed
        assert {"/costs/dutiable", "/costs/tax_reclaimed_share"} <= {assumed.pointer for assumed in taxed}
        assert all(assumed.why for assumed in answer.assumed)
        assert {"papers_assumed", "no_recourse"} <= {caution.code for caution in answer.cautions}

    def test_claim_window_left_out_is_listed_where_a_claim_counts(self) -> None:
        def assumed(**recourse: object) -> Fields:
            routes = [COURIER | {"boxes": 1, "transit_days": fixed(5.0)}]
            return {a.pointer: a.value for a in compare(recourse=recourse, routes=routes, **EVERY_DAY).assumed}

        # The policies read run from 1 h to 7 days, 48 h most often.
        assert assumed(kind="refund", chance=0.5) == {"/recourse/claim_window_hours": 48}
        assert assumed(kind="replacement", chance=0.5, claim_window_hours=24) == {}
        assert assumed(kind="replacement", chance=0.5, claim_window_hours=None) == {}
        assert assumed(kind="none") == {}

    def test_a_currency_is_a_label_and_changes_no_amount(self) -> None:
        pounds, yen = (compare(**self.minimal, currency=currency) for currency in ("GBP", "CAD"))
        assert [route.money for route in pounds.routes] == [route.money for route in yen.routes]
        currencies = [{one.usual.currency for one in a.not_counted if one.usual} for a in (pounds, yen)]
        # A usual cost is offered in its own currency, never converted.
        assert currencies == [{"GBP"}, {"EUR"}]

    def test_nothing_is_assumed_when_all_is_said(self) -> None:
        quantiles = {"p10": 3, "p50": 5, "p90": 10}
        routes = [COURIER | {"boxes": 1, "transit_days": quantiles}]
        assert compare(routes=routes, **EVERY_DAY).assumed == []

    def test_boxes_fill_by_capacity(self) -> None:
        request = compare_request(lines=[line("Hoya", 81)], packing=TWO_BOXES, routes=[COURIER, CARGO | {"boxes": 1}])
        assert [route.plan.n_boxes for route in prepare(request, engine()).routes] == [3, 1]
        assert "boxes_overfull" in {c.code for c in compare(lines=[line("Hoya", 81)], packing=TWO_BOXES,
                                                           routes=[CARGO | {"boxes": 1}]).cautions}  # fmt: skip

"""Every caution an answer can carry: a stable code, its text, when it was checked and who decides."""

import string
from dataclasses import dataclass
from datetime import date

from app.batch.words import CLAIM_WINDOWS
from app.schemas import Caution, CautionMoment
from model.reference import CONSTANTS

PLANT_HEALTH = "plant-health authority"
BORDER = "plant-health authority, customs and a licensed broker"
CITES = "CITES authority of each country"
SELLER = "seller"
CARRIER = "carrier"
LAWYER = "seller, payment service, carrier, and a lawyer where it matters"

BEFORE_PAYING: CautionMoment = "before_paying"
PACKING: CautionMoment = "packing"
ON_THE_WAY: CautionMoment = "on_the_way"
ARRIVAL: CautionMoment = "arrival"

SHARES = frozenset({"share"})


@dataclass(frozen=True, slots=True)
class Template:
    """The text of a caution.

    `moment` is when it is to be thought of. `text` has named fields that must be given; shares (0-1) are said in per
    cent. Each of `more` is a sentence that follows when its field is given. `checked` is the day on which the text was
    last compared with its sources, where a rule, policy or law stands behind it: change it with that text only.
    """

    moment: CautionMoment
    text: str
    decided_by: str | None = None
    checked: date | None = None
    more: tuple[str, ...] = ()


TEMPLATES = {
    # Records
    "doubtful_record": Template(ARRIVAL, "{text}."),
    # Places
    "same_place": Template(
        BEFORE_PAYING,
        "The box leaves from where it goes, {place}: the answer is for a journey within one place. If that is not "
        "meant, correct where it leaves or where it goes.",
    ),
    # Papers
    "papers_missing": Template(
        BEFORE_PAYING,
        "Not in hand before departure: {papers}. The box then waits in clearance; about {days} days are"
        " added. Rules differ by country and change.",
        BORDER,
        checked=date(2026, 11, 25),
    ),
    "papers_assumed": Template(
        BEFORE_PAYING,
        "Taken as in hand before departure, since not said: {papers}. The import permit, the "
        "phytosanitary certificate, the invoice with kinds, quantities and value, and the waybill travel "
        "with the box; hold copies of them.",
        BORDER,
        checked=date(2026, 11, 25),
    ),
    "certificate_lapses": Template(
        BEFORE_PAYING,
        "The phytosanitary certificate issued on {issued} covers departures up to {until}; later dates "
        "are blocked. Some countries ask that it be issued at most 14 days before departure.",
        PLANT_HEALTH,
        checked=date(2026, 11, 25),
    ),
    "certificate_age": Template(
        BEFORE_PAYING,
        "A phytosanitary certificate ages: some countries (Switzerland and the Netherlands in the lists "
        "read) take none issued more than 14 days before departure. Ask before waiting.",
        PLANT_HEALTH,
        checked=date(2026, 11, 25),
    ),
    "treatment_lapses": Template(
        BEFORE_PAYING,
        "The treatment done on {done} covers departures up to {until}; later dates are blocked.",
        PLANT_HEALTH,
        checked=date(2026, 11, 25),
    ),
    "cites_possible": Template(
        BEFORE_PAYING,
        "{genera}: listed in the CITES appendices, in whole or in part, in the copies read (up to 2022, "
        "amended since). Trade may need a CITES permit.",
        CITES,
        checked=date(2026, 11, 25),
    ),
    "soil_free": Template(
        PACKING,
        "Plants may have to be free of soil: the United States, Canada and Australia ask for it. Ask for washed roots.",
        PLANT_HEALTH,
        checked=date(2026, 11, 25),
    ),
    "duty_and_tax": Template(
        BEFORE_PAYING,
        "Duty, import tax and permits differ by country and change; duty and tax rates are those given, "
        "none is looked up.",
        BORDER,
        checked=date(2026, 11, 25),
    ),
    # The box on its way
    "chilled_handling": Template(
        PACKING,
        "Ask for room handling (+15 to +25 °C) on {routes}: the usual chilled band of +2 to +8 °C injures "
        "tropical plants.",
        CARRIER,
    ),
    "heat_pack_short": Template(
        PACKING,
        "The heat pack lasts {hours} h, shorter than {journeys}: after that the box follows the air outside within "
        "hours.",
    ),
    "heat_pack_freezes": Template(PACKING, "In {journeys} the heat pack freezes and stops before its hours are over."),
    "heat_pack_brands": Template(
        PACKING, "Heat packs vary by brand and some miss their hours; one that touches leaves burns them."
    ),
    "heat_pack_too_warm": Template(
        PACKING,
        "With the heat pack the air in the box passes {inside_c} °C in 1 of 20 journeys on {routes}: "
        "leave it out or take a weaker one.",
    ),
    "cold_inside": Template(
        PACKING,
        "In {journeys} the air in the box falls below the chilling threshold of {genera}.",
    ),
    "weekend_layover": Template(
        PACKING,
        "Leaving on {ship_date}, the box is likely to lie over a weekend or closed day on {routes}. Early "
        "in the week is better.",
        CARRIER,
    ),
    "delay_share_lowered": Template(
        BEFORE_PAYING,
        "The transit times given leave room for fewer long delays than usual ({routes}): the rare late box may be "
        "missing from the answer.",
    ),
    "carrier_liability": Template(
        ARRIVAL,
        f"By air the carrier is liable up to {CONSTANTS.carrier_liability_sdr_per_kg} SDR per kg (Montreal Convention, "
        "revision of 28 Dec 2024). Damage is to be notified in writing within "
        f"{CONSTANTS.carrier_damage_notice_days} days of receipt, delay within {CONSTANTS.carrier_delay_notice_days}.",
        CARRIER,
        checked=date(2026, 11, 27),
    ),
    "storage_charges": Template(
        ARRIVAL,
        "Airports store about 2 days free, then charge per kg and day: collect on the day of arrival.",
        CARRIER,
        checked=date(2026, 11, 25),
    ),
    # A box that has not arrived
    "departure_assumed": Template(
        ON_THE_WAY, "When the box left is not recorded: it is taken as closed on {ship_date} at {hour} there."
    ),
    "far_late": Template(
        ON_THE_WAY,
        "By its plan fewer than 1 box in 100 on {route} takes so long: from here on the answer rests on how long "
        "delays last, which is judgement.",
        CARRIER,
    ),
    "note_without_leg": Template(ON_THE_WAY, "{kind}: {route} has no such leg, so this note is left out."),
    # After the box is opened
    "claim_window": Template(
        ARRIVAL,
        "Claims are to be made within {hours} h of delivery: photograph or film the opening. Dead on "
        "arrival is claimable; yellow or bruised leaves on sound roots usually are not.",
        SELLER,
        checked=date(2026, 11, 25),
    ),
    "claim_window_unknown": Template(
        BEFORE_PAYING,
        f"No claim window is given. In the policies read it runs from {CLAIM_WINDOWS}, most often "
        f"{CONSTANTS.claim_window_h} h: ask "
        "before paying, and photograph or film the opening.",
        SELLER,
        checked=date(2026, 11, 27),
    ),
    "payment_window": Template(
        BEFORE_PAYING,
        "The payment can be disputed for {days} days; {journeys} take longer.",
        SELLER,
    ),
    "no_recourse": Template(
        BEFORE_PAYING, "No refund or replacement is counted on: an unprotected transfer leaves no recourse.", SELLER
    ),
    "claim_practice": Template(
        ARRIVAL,
        "What is said of claims is common practice, not legal advice: the seller's terms, the payment service, the "
        "carrier's conditions and the law of your country count. Rules change.",
        LAWYER,
        checked=date(2026, 11, 25),
    ),
    "claim_unpriced": Template(ARRIVAL, "No price is recorded for {plants}: the total leaves them out."),
    "claim_uncounted": Template(
        ARRIVAL, "The dead of {plants} were not counted on their own: the claim leaves them out until they are."
    ),
    "dead_plants": Template(
        ARRIVAL,
        "Keep what is dead in a closed bag until the claim is settled, then throw it away bagged, not on the "
        "compost: it may carry pests or diseases. Report a pest that you do not know.",
        PLANT_HEALTH,
    ),
    "late_damage": Template(
        ARRIVAL,
        "Chilling injury can stay invisible for about two weeks: look again then, and see the figures for"
        " two weeks on.",
    ),
    "residues": Template(
        ARRIVAL,
        "Wear gloves when unpacking: imported plants may carry pesticide residues (111 were found on the "
        "gloves of florists, cut flowers, Toumi et al. 2017).",
    ),
    "irritant_sap": Template(ARRIVAL, "{genera}: the sap may irritate skin and eyes. Wear gloves when unpacking."),
    "isolate": Template(
        ARRIVAL,
        f"Keep new plants apart from the others for {CONSTANTS.isolate_least_weeks} to "
        f"{CONSTANTS.isolate_most_weeks} weeks.",
    ),
    # What the answer rests on
    "no_own_record": Template(
        BEFORE_PAYING,
        "No boxes are recorded yet: chances come from rules of thumb of the trade, and the intervals say "
        "how wide they are.",
    ),
    "refit_due": Template(BEFORE_PAYING, "{why} The answer does without; a refit is due."),
    "extrapolation": Template(
        BEFORE_PAYING, "{what} lies beyond the evidence ({range}): the answer is carried on from there."
    ),
    "unknown_genus": Template(
        BEFORE_PAYING,
        "{genus} is not in the table of genera: answered as an unknown plant, so the answer is wider.",
        more=("The nearest known spelling is {nearest}.",),
    ),
    "old_name": Template(BEFORE_PAYING, "{genus} is answered as {accepted}, the accepted name."),
    "unknown_cultivar": Template(
        BEFORE_PAYING, "No box of {plants} is recorded: answered as any cultivar of its genus, so the answer is wider."
    ),
    "unknown_seller": Template(
        BEFORE_PAYING, "No box of this seller is recorded: answered as any seller, so the answer is wider."
    ),
    "nearest_place": Template(
        BEFORE_PAYING,
        "{code} is not in the table of places: the weather is that of {nearest}, {km} km away, corrected for "
        "elevation.",
        more=("Over more than {far_km} km temperatures may differ by several degrees.",),
    ),
    "date_unusual": Template(BEFORE_PAYING, "{what} is {date}: check that this is meant."),
    # The ledger of boxes
    "outcome_missing": Template(
        ARRIVAL,
        "{n} of the planned shipments should have left more than {days} days ago and have no outcome: record the "
        "arrival, or that they were lost. Without the boxes that were lost, the chances look better than they are.",
    ),
    "logger_partial": Template(
        ARRIVAL, "The logger covers {share} of the time from departure to opening: the rest is taken to be like it."
    ),
    "recheck_dropped": Template(
        ARRIVAL,
        "The recheck no longer adds up to the plants alive at arrival and was taken out: enter it again. The old "
        "counts are kept in the history.",
    ),
    "boxes_apart": Template(PACKING, "{route}: {text}."),
    "boxes_overfull": Template(
        PACKING,
        "{boxes} for {plants} plants: that is more than {capacity} a box, and crowding is not in the model.",
    ),
}


def fields_of(text: str) -> set[str]:
    """Return the names of the fields in a text."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def _said(name: str, value: object) -> object:
    if isinstance(value, float):
        return f"{100 * value:.0f} %" if name in SHARES else f"{value:g}"
    return value


def caution(code: str, /, **fields: object) -> Caution:
    """Return the caution of a code with its fields filled in.

    Raises
    ------
    KeyError
        If there is no such code, or a field of its text is not given.
    TypeError
        If a field is given that its text does not have.
    """
    template = TEMPLATES[code]
    sentences = [template.text]
    sentences += [extra for extra in template.more if all(fields.get(name) for name in fields_of(extra))]
    unused = fields.keys() - fields_of(" ".join((template.text, *template.more)))
    if unused:
        raise TypeError(f"caution {code} has no field {', '.join(sorted(unused))}")
    return Caution(
        code=code,
        text=" ".join(sentences).format(**{name: _said(name, value) for name, value in fields.items()}),
        checked=template.checked,
        decided_by=template.decided_by,
        moment=template.moment,
    )

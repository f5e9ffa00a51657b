"""What a careful buyer asks a seller before the first order, and what of it is still open."""

from app.batch import answers_of, packing_of
from app.store import SellerDetails

OF_ANSWERS = {
    "grows_plants": "Does the seller grow the plants itself?",
    "exported_here": "Has it exported plants to your country before?",
    "certificate_days": "How many days does it need for a phytosanitary certificate?",
    "wrapping": "How does it wrap roots and leaves?",
    "packed_before_pickup_hours": "How many hours before pick-up does it pack the box?",
    "live_video": "Will it show you the plants in a live video?",
}
OF_DETAILS = {
    "kind": "Is it a grower, an exporter that collects from several nurseries, or a reseller?",
    "country": "From which country does it ship?",
    "recourse": "What does it give for plants dead on arrival: a refund, a replacement, nothing?",
}
OF_PACKING = {
    "container": "In what does it pack: a foam box, a lined carton, a carton?",
    "roots": "How does it pack the roots: in damp moss or tissue under film, in damp paper, dry, or in a plug?",
    "heat_packs": "How many heat packs does it put in a box, and for how many hours?",
}


def open_questions(details: SellerDetails) -> list[str]:
    """Return the questions that nothing on record answers, in the order in which to ask."""
    parts = ((OF_DETAILS, details), (OF_ANSWERS, answers_of(details)), (OF_PACKING, packing_of(details)))
    answered = {"grows_plants"} if details.kind == "grower" else set()  # being called a grower says so
    return [
        question
        for words, known in parts
        for name, question in words.items()
        if getattr(known, name) is None and name not in answered
    ]

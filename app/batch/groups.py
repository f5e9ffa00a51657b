"""Growth groups as growers say them, in the plural."""

GROUPS = {
    "ant_plant": "ant plants",
    "aroid": "aroids",
    "begonia": "begonias",
    "bromeliad": "bromeliads",
    "cactus": "cacti",
    "carnivorous": "carnivorous plants",
    "creeper": "creepers",
    "cycad": "cycads",
    "dracaena": "dracaenas",
    "fern": "ferns",
    "fig": "figs",
    "gesneriad": "gesneriads",
    "ginger_banana": "gingers and bananas",
    "herb_other": "other herbs",
    "hoya": "hoyas",
    "orchid": "orchids",
    "palm": "palms",
    "peperomia": "peperomias",
    "prayer_plant": "prayer plants",
    "succulent": "succulents",
    "woody": "woody plants",
    "unknown": "unknown plants",
}


def group_words(code: str) -> str:
    """Return a group in words."""
    return GROUPS.get(code, code.replace("_", " "))

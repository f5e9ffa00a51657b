"""Who was harmed by cold in UF RH-93-6: names as printed there.

Poole & Conover 1993, University of Florida research report RH-93-6: 1-4 days in the dark at 2.2, 5 and 7.8 °C. Ficus
stands apart, since F. benjamina was unharmed and F. elastica harmed.
"""

UNHARMED = ("Araucaria", "Dizygotheca", "Maranta", "Radermachera", "Schefflera", "Syngonium")
HARMED = (
    "Aglaonema",
    "Chamaedorea",
    "Chrysalidocarpus",
    "Codiaeum",
    "Dieffenbachia",
    "Dracaena",
    "Epipremnum",
    "Homalomena",
    "Nephrolepis",
    "Philodendron",
    "Spathiphyllum",
)

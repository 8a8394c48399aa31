"""The usual cautions at the bench, as sheet and page show them."""

from __future__ import annotations

CAUTIONS = (
    "Plaster dust: wear a dust mask when you weigh and strew; limits are 15 mg/m³ total and 5 mg/m³ respirable (OSHA), "
    "10 and 5 are advised (NIOSH Pocket Guide 0518). Crystalline silica in it: 50 µg/m³ (29 CFR 1910.1053).",
    "Heat: setting plaster burns. Never enclose a hand or any part of the body in it (UK HSE case, 2009).",
    "Eyes and skin: wet plaster is alkaline; rinse with plenty of water.",
    "Drains: no plaster or wash water down the drain; let it set in the bucket and throw it away as solid.",
    "Alcohol mist burns: flash point 11.7 °C (NIOSH Pocket Guide 0359). No flame or kiln near, and air the room.",
    "Weight: lift wet molds in twos, or slide them; full of slip they are heaviest.",
    "Your local rules, the makers' data sheets and licensed practice come before this sheet.",
)

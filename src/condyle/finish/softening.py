"""At what warmth a material begins to soften, and how warm the water may be in which a tight socket is dipped."""

from __future__ import annotations

SOFTENS_C: dict[str, float] = {
    "pla": 58.0, "petg": 78.0, "abs": 102.0, "asa": 100.0, "pc": 145.0, "pa12": 45.0,
    "resin-stiff": 55.0, "resin-ductile": 45.0,
}  # fmt: skip
"""Glass transition or heat deflection, the lower, °C: from memory, usual data-sheet values, good to ± 8; the data sheet of
your own material goes before them."""

MARGIN_C = 10.0
HOT_TO_THE_HAND_C = 50.0
"""Water warmer than this scalds in minutes (from memory: public guidance on hot tap water)."""


def water_c(material: str) -> float | None:
    """The warmest water for a material, °C: a margin below its softening and never scalding; None where it is not known."""
    soft = next((v for k, v in SOFTENS_C.items() if material.lower().replace("_", "-").startswith(k)), None)
    return None if soft is None else min(soft - MARGIN_C, HOT_TO_THE_HAND_C)


def warm_words(material: str) -> str:
    """What to do with warm water, in one sentence."""
    warmest = water_c(material)
    if warmest is None:
        return (
            f"dip the socket in warm water only if you know at what warmth {material} softens, and stay 10 °C below it"
        )
    return f"dip the socket for a minute in water of at most {warmest:.0f} °C ({material} softens not far above)"

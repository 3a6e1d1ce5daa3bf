"""The safety notice and the deference to codes and licences: the one place for both.

The usual cautions of the trade (common practice, no source). The command line prints the short
notice before anything is recorded; the report and the documentation carry the long one.
"""

from __future__ import annotations

# One sentence an item, for the terminal before a live sweep
SHORT_NOTICE: tuple[str, ...] = (
    "Never look at the sun, and never sight along the board towards it.",
    "Stand still to measure; look where you step. Keep back from roof edges and drops, and off "
    "fragile roofs and skylights.",
    "Never survey from a ladder: you need your hands to hold on. Use fall protection where a fall "
    "is possible.",
    "Keep the board, poles and ladders well clear of power lines.",
    "Stop for wind, rain, ice or lightning.",
    "Local codes and licensed professionals come before anything this program prints.",
)

# For a job whose recordings of the day began with the notice
ONE_LINE = (
    "Never look at the sun. Mind edges, drops, skylights, ladders, power lines and the weather; "
    "local codes and licensed professionals come first."
)

# Heading and text of each caution, for the report and the documentation
LONG_NOTICE: tuple[tuple[str, str], ...] = (
    (
        "The sun",
        "Never look at the sun, with or without a board in front of the eye. Sighting along the "
        "skyline brings your line of sight close to the sun: work with the sun behind you or "
        "behind cloud where you can, and skip that part of the skyline where you cannot. A sun "
        "bearing is taken along a shadow, with your back to the sun.",
    ),
    (
        "Falls",
        "Do not walk and sight at the same time. Keep well back from roof edges, openings and "
        "drops. Where a fall is possible, use guard rails or fall protection that you are "
        "trained in, and do not work alone.",
    ),
    (
        "Ladders",
        "Set the ladder on firm ground at a safe angle, secure it, and keep three points of "
        "contact. Never survey from a ladder: you need your hands to hold on.",
    ),
    (
        "Fragile roofs and skylights",
        "Take fibre cement, plastic sheets, old glass, rotten boards and every skylight as unable "
        "to bear a person, even where they look sound or are painted over.",
    ),
    (
        "Power lines",
        "Keep the board, masts, poles and ladders well clear of overhead lines and service drops, "
        "and treat every line as live. Ask the line's operator what distance to keep.",
    ),
    (
        "Weather",
        "Stay off roofs in wind, rain, frost or snow. Stop at the first sign of lightning. Drink "
        "and seek shade in heat.",
    ),
    (
        "Codes and licences",
        "This program measures a skyline and estimates what it takes from the sun. It is no "
        "structural, electrical or fire safety assessment and no substitute for one. Local "
        "codes, the permit office, the manufacturer's instructions and licensed professionals "
        "come before anything written here.",
    ),
)


def short_notice() -> str:
    """The notice for the terminal, one sentence a line."""
    return "Before you start:\n" + "\n".join(f"  - {sentence}" for sentence in SHORT_NOTICE)

"""One continuous scale of colour for margins: dark blue is ample, yellow is at the limit, red-brown is beyond it."""

from __future__ import annotations

import itertools

# margin as a share of the limit, and its colour. Lightness falls to both sides of yellow, and blue against brown is told
# apart by people who see red and green alike.
STOPS: tuple[tuple[float, tuple[int, int, int]], ...] = (
    (-0.30, (84, 20, 14)),
    (-0.10, (148, 52, 24)),
    (-1e-9, (214, 120, 40)),
    (0.00, (244, 208, 63)),
    (0.05, (190, 205, 130)),
    (0.15, (110, 178, 176)),
    (0.30, (52, 134, 180)),
    (0.60, (28, 82, 148)),
    (1.00, (14, 40, 92)),
)
NONE = "#a8b0b9"


def margin_colour(share: float | None) -> str:
    """The colour of a normalised margin; grey where there is none."""
    if share is None or share != share:
        return NONE
    share = min(max(share, STOPS[0][0]), STOPS[-1][0])
    for (low, a), (high, b) in itertools.pairwise(STOPS):
        if share <= high:
            t = (share - low) / (high - low)
            return "#" + "".join(f"{round(p + (q - p) * t):02x}" for p, q in zip(a, b, strict=True))
    return NONE  # pragma: no cover - clamped above


def share_text(share: float | None) -> str:
    """A normalised margin in words: `+12 %`."""
    if share is None:
        return "no margin"
    if abs(share) > 9.99:
        return f"{'+' if share > 0 else '-'}over 999 %"
    return f"{100 * share:+.0f} %"

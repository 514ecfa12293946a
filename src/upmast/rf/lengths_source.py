"""How far the velocity of a jumper may be off: one default for all that looks at lengths."""

from __future__ import annotations

from upmast.source import Mark, Source

__all__ = ["VELOCITY_SOURCE", "VELOCITY_TOLERANCE"]

VELOCITY_TOLERANCE = 0.01  # of a jumper's velocity factor, plus and minus
VELOCITY_SOURCE = Source("common practice, no source", "velocity factor within 1 %", mark=Mark.PRACTICE)

"""Humidity indicator cards: what the changed spots say about the air in a box."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from upmast.weather.moist_air import dew_point_c, frost_point_c

__all__ = ["CardReading", "CardVerdict", "read_card"]

_MOST_SPOTS = 50


class CardVerdict(StrEnum):
    """What a card says about the coldest day."""

    DRY = "dry for the coldest day"
    MAY_SWEAT = "may sweat"
    WILL_SWEAT = "will sweat"
    INVALID = "card invalid, replace it"


@dataclass(frozen=True, slots=True)
class CardReading:
    """
    Humidity between two spots, the verdict, and where water comes out at both ends; NaN if invalid.

    low_dew_c, high_dew_c: dew point of the air at the card's temperature, below 0 C the frost point, which comes first.
    """

    low_percent: float
    high_percent: float
    low_dew_c: float
    high_dew_c: float
    verdict: CardVerdict


def read_card(spots_percent: Sequence[float], changed: Sequence[bool], card_c: float, coldest_c: float) -> CardReading:
    """
    Read a card: humidity lies between the highest changed spot and the lowest unchanged one.

    Parameters
    ----------
    spots_percent [%]: of the spots, ascending. changed: whether each has changed. card_c [C]: of the card when read.
    coldest_c [C]: lowest temperature expected of the metal.

    Returns
    -------
    `CardReading`. Cards read 5 % high or low and drift with temperature (2.5 % for 5 K, from memory).

    Source: common practice, no source; dew points by WMO-No. 8.

    >>> found = read_card([10, 20, 30, 40, 50, 60], [True, True, False, False, False, False], 22.0, -10.0)
    >>> str(found.verdict), round(found.low_dew_c, 1), round(found.high_dew_c, 1)
    ('will sweat', -1.8, 3.6)
    """
    if not 0 < len(spots_percent) <= _MOST_SPOTS or len(spots_percent) != len(changed):
        raise ValueError(f"a card has 1 to {_MOST_SPOTS} spots, each changed or not")
    spots = np.asarray(spots_percent, float)
    if np.any(~((spots > 0) & (spots < 100))) or np.any(np.diff(spots) <= 0):
        raise ValueError("spots must ascend between 0 and 100 percent")
    count = sum(bool(spot) for spot in changed)
    if not all(changed[:count]):
        nan = float("nan")
        return CardReading(nan, nan, nan, nan, CardVerdict.INVALID)
    low = float(spots[count - 1]) if count else 0.0
    high = float(spots[count]) if count < spots.size else 100.0
    ends = np.array([low, high])
    dew = dew_point_c(card_c, ends)
    low_dew, high_dew = (float(x) for x in np.where(dew < 0, frost_point_c(card_c, ends), dew))
    if high_dew < coldest_c:
        verdict = CardVerdict.DRY
    elif low_dew > coldest_c:
        verdict = CardVerdict.WILL_SWEAT
    else:
        verdict = CardVerdict.MAY_SWEAT
    return CardReading(low, high, low_dew, high_dew, verdict)

"""What a file says itself beside a reading: a verdict of its own, and what fed the line when it was read."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable

from upmast.errors import shorten
from upmast.field.readers.cell_value import folded
from upmast.field.readers.reading import Reading
from upmast.field.setup import Remark

_FAIL = re.compile(r"\b(?:fail|fails|failed|failure|nok|not ok|rejected?|not passed|n\.?i\.?o\.?|bad)\b")
_BATTERY = re.compile(r"\b(?:on battery|battery|batteries|batt|discharg\w*|mains (?:off|fail\w*|out)|no mains|batterie\w*|akku\w*|entlad\w*|netz(?:ausfall| aus)|ohne netz)\b")  # fmt: skip
_FLOAT = re.compile(r"\b(?:float\w*|charg\w*|on mains|mains on|full(?! load)|(?:erhaltungs)?ladung|ladeerhaltung|geladen|laden|voll(?! last)|netz(?:betrieb| an)|am netz)\b")  # fmt: skip


def sentences(reading: Reading, *said: str) -> str:
    """
    The words that give conditions of a file, as they are typed.

    >>> from upmast.field.readers.reading import Reading
    >>> sentences(Reading("pim", "A1", -110.0, "", "dBm", (), "", "", "", 2, file="in/pim.csv"), "carrier_1_dbm is 43")
    "--say 'pim.csv: carrier_1_dbm is 43'"
    """
    file = reading.file.replace("\\", "/").rsplit("/", 1)[-1]
    return " ".join(f"--say {shlex.quote(f'{file}: {one}' if file else one)}" for one in said)


def own_verdicts(readings: Iterable[Reading]) -> list[Remark]:
    """A warning where the file itself says of a reading that it fails, whatever is judged here."""
    failed = [one for one in readings if _FAIL.search(folded(str(one.condition("their_verdict") or "")))]
    if not failed:
        return []
    said = shorten(str(failed[0].condition("their_verdict")), 40)
    rows = ", ".join(str(row) for row in sorted({one.row for one in failed})[:6])
    return [
        Remark(
            "their-verdict", "warn", f"the file itself says {said!r} (row {rows})",
            "look by which limit it was judged there, and measure again",
        )
    ]  # fmt: skip


def on_battery(readings: Iterable[Reading]) -> list[Remark]:
    """A stop where a voltage was read on battery, by what fed it or by a remark: the test is that of the float voltage."""
    battery = [(one, *found) for one in readings if (found := _fed(one))[1]]
    if not battery:
        return []
    one, text, name = battery[0]
    words = f"read on battery ({shorten(text, 40)!r}), and this is the test on float"
    remedy = "measure on float: mains on, battery full"
    if name == "remark":  # words may speak of a battery and mean something else
        remedy += f"; if all rows of the file were read on float, {sentences(one, 'supply is float')}"
    return [Remark("supply", "stop", words, remedy)]


def _fed(reading: Reading) -> tuple[str, str]:
    """The words that say battery and the condition that holds them; what is said of the supply goes before a remark."""
    for name in ("supply", "remark"):
        text = str(reading.condition(name) or "")
        plain = folded(text)
        if _FLOAT.search(plain):
            return "", ""
        if _BATTERY.search(plain):
            return text, name
    return "", ""


__all__ = ["on_battery", "own_verdicts", "sentences"]

"""The working of the fibre room's findings and figures."""

from __future__ import annotations

from typing import Any

from upmast.fibre.delay import GROUP_INDEX_1310
from upmast.finding import Figure, Finding
from upmast.formula import Expr, Sym, sum_, symbols
from upmast.source import Mark, Origin, Source
from upmast.working import ChoiceStep, FormulaStep, Quantity, Step

OWN = Source("own derivation: power budget", "sum of losses in dB")
WALK = Source("own derivation: walk of each strand through joints and items")
DELAY = Source("ITU-T G.657 fibre, group index", "n = 1.467 to 1.468, seen in public fibre data")
PARTS = Source("parts of the line", "loss_db of the connectors, attenuation of the cables", mark=Mark.INVENTED)


def derive(inputs: Any, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of one finding or figure."""
    row = found.rank
    if found.code == "fibre.low-margin":
        loss = _loss(inputs, row)
        tx = _power(inputs, row, 0, "P_tx", inputs.tx_minimum_dbm[row], "lowest launched power")
        rx = _power(inputs, row, 1, "P_rx", inputs.rx_minimum_dbm[row], "lowest power that the receiver needs")
        margin = Quantity("M", found.value or 0.0, "dB", "margin of the weakest light", Origin.EXPECTED, OWN)
        return (loss, FormulaStep(margin, Sym("P_tx") - Sym("A_max") - Sym("P_rx"), (tx, loss.result, rx)))
    if found.code == "fibre.overload-margin":
        tx = _power(inputs, row, 0, "P_tx", inputs.tx_maximum_dbm[row], "highest launched power")
        rx = _power(inputs, row, 1, "P_rx", inputs.rx_maximum_dbm[row], "highest power that the receiver bears")
        least = Quantity("A_min", 0.0, "dB", "lowest loss: none is counted on, the safe side", Origin.DEFAULT, OWN)
        margin = Quantity("M", found.value or 0.0, "dB", "margin of the strongest light", Origin.EXPECTED, OWN)
        return (FormulaStep(margin, Sym("P_rx") - (Sym("P_tx") - Sym("A_min")), (rx, tx, least)),)
    if found.code == "fibre.channel-loss":
        return (_loss(inputs, row),)
    if found.code == "fibre.delay":
        length, index, light = symbols("L n_g c_0")
        q = (
            Quantity(
                "L", float(sum(inputs.length_m[row])), "m", "length of all cables, with tolerance", Origin.EXPECTED, OWN
            ),
            Quantity(
                "n_g", GROUP_INDEX_1310.value, "", "group index at 1310 nm", Origin.LISTED, GROUP_INDEX_1310.source
            ),
            Quantity(
                "c_0",
                299792458.0,
                "m/s",
                "speed of light",
                Origin.LISTED,
                Source("SI Brochure", "2.2", "9th edition, 2019"),
            ),
        )
        return (
            FormulaStep(
                Quantity("t", found.value or 0.0, "ns", "one-way delay", Origin.EXPECTED, OWN),
                1e9 * index * length / light,
                q,
            ),
        )
    if found.code == "fibre.right-port":
        ways = []
        start = row - row % 2
        for one in (start, start + 1):
            over = " > ".join(inputs.items[one]) or "nothing"
            ways.append(
                f"{inputs.start[one]} > {over} > {inputs.reached[one] or 'nowhere'}; meant: {inputs.meant[one]}"
            )
        return (
            ChoiceStep(
                "right" if inputs.right[start : start + 2].all() else found.note,
                "follow the light from each sender to where it ends",
                tuple(ways),
            ),
        )
    if found.code == "fibre.bend-radius":
        return (ChoiceStep(f"{found.value:g} mm", found.note),)
    return (ChoiceStep(f"{found.value:g}", "counted on the line: " + found.note),)


def _power(inputs: Any, row: int, end: int, symbol: str, value: float, words: str) -> Quantity:
    part = inputs.optics[row][end]
    return Quantity(
        symbol,
        float(value),
        "dBm",
        f"{words}, {part}",
        Origin.LISTED,
        Source(f"part {part}", "class of IEEE 802.3, average power"),
    )


def _loss(inputs: Any, row: int) -> FormulaStep:
    """A_max = sum(a L / 1000) + sum(A_i)."""
    terms: list[Expr] = []
    q: list[Quantity] = []
    cables = list(inputs.items[row])
    for n, (a, length) in enumerate(zip(inputs.attenuation_db[row], inputs.length_m[row], strict=True), 1):
        q.append(
            Quantity(
                f"a_{n}",
                a,
                "dB/km",
                f"highest attenuation of cable {n} on the way {' > '.join(cables)}",
                Origin.LISTED,
                PARTS,
            )
        )
        q.append(
            Quantity(
                f"L_{n}",
                length,
                "m",
                f"length of cable {n}, with tolerance",
                Origin.EXPECTED,
                Source("line.yaml", "length_m and tolerance_m"),
            )
        )
        terms.append(Sym(f"a_{n}") * Sym(f"L_{n}") / 1000)
    for n, event in enumerate(inputs.event_db[row], 1):
        q.append(Quantity(f"A_{n}", event, "dB", f"mated pair {n}, highest loss", Origin.LISTED, PARTS))
        terms.append(Sym(f"A_{n}"))
    expression = sum_(terms)
    value = expression.value({x.symbol: x.value for x in q})
    return FormulaStep(
        Quantity(
            "A_max", value, "dB", f"highest loss from {inputs.start[row]} to {inputs.meant[row]}", Origin.EXPECTED, OWN
        ),
        expression,
        tuple(q),
    )

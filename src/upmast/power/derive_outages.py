"""The working of faults and of the time on battery."""

from __future__ import annotations

from upmast.finding import Figure, Finding
from upmast.power.derive import OHM, OWN, Maker
from upmast.power.outages import BATTERY, CODES
from upmast.power.seen import Seen
from upmast.source import Origin
from upmast.working import ChoiceStep, Quantity, SolvedStep, Step


def outage_working(maker: Maker, seen: Seen, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of a finding about faults or the battery; none if it is not one of theirs."""
    code = found.code
    for kind, stem in CODES.items():
        if code in (f"{stem}-voltage", f"{stem}-figure"):
            return _fault(seen, kind, found)
    e = seen.endurance
    if code == "power.hunting" and e is not None and e.hunting is not None:
        k = found.rank
        drop = Quantity(
            "E_k", float(e.hunting.emf_v[k]), "V", f"emf at which {seen.i.radios[k]} drops", Origin.EXPECTED, OWN
        )
        back = Quantity(
            "V_open", found.value or 0.0, "V", "its terminals just after, without its own current", Origin.EXPECTED, OWN
        )
        return (
            SolvedStep(
                (back, drop), "the emf falls from float; at each crossing of a cut-out the radio is taken off and the rest is solved again",
                "1e-9 V", "voltages rise with the emf and are concave in it: Newton's method meets the one crossing",
            ),
        )  # fmt: skip
    if code == "power.first-drop" and e is not None and e.first is not None:
        emf = Quantity("E_1", float(e.first.emf_v), "V", "emf at that moment", Origin.EXPECTED, OWN)
        bus = Quantity("V_bus", found.value or 0.0, "V", "voltage of the bars", Origin.EXPECTED, OHM)
        return (
            SolvedStep(
                (bus, emf), "least margin min(V_k - V_cut) = 0 over the emf, conductors as warm as at the lowest voltage",
                "1e-9 V", "the least margin rises with the emf and is concave in it: there is one crossing",
            ),
        )  # fmt: skip
    if code in ("power.battery-minutes", "power.minutes-to-drop", "power.unusable-energy"):
        result = Quantity(
            "t" if found.unit == "min" else "W", found.value or 0.0, found.unit, found.note, Origin.EXPECTED, BATTERY
        )
        b = seen.i.battery
        method = "t = integral of t_n (I_n / I(d))^k over the depth of discharge d, from event to event, Clenshaw-Curtis quadrature to 1e-7"
        if b is not None:
            method += f"; {b.capacity_ah:.0f} Ah at the ten-hour rate, k = {b.peukert:g}"
        if code == "power.unusable-energy":
            method += "; energy between the depth at which the first radio drops and that at which it would drop without a line"
        return (
            SolvedStep(
                (result,),
                method,
                "the load flow is solved at each depth",
                "each event is located to 1e-13 of the depth",
            ),
        )
    return ()


def _fault(seen: Seen, kind: str, found: Finding | Figure) -> tuple[Step, ...]:
    if found.value is None:
        missing = getattr(found, "missing", ())
        return (ChoiceStep("nothing to work out", f"missing: {', '.join(missing)}"),)
    volts = Quantity("V_f", found.value, "V", f"voltage {found.note}", Origin.EXPECTED, OWN)
    faults = seen.faults
    among = () if faults is None else tuple(f.name for f in faults.faults if f.kind == kind)
    return (
        ChoiceStep(found.note, "each fault of the kind is set in turn; the lowest voltage governs", among),
        SolvedStep((volts,), "the load flow of the sound line with that branch open; heating settled anew in three rounds", "0.1 K", "as for the sound line"),
    )  # fmt: skip


__all__ = ["outage_working"]

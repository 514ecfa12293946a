"""
Ports: the typed ends of every part, and what may mate with what.

A port's name is its place on the item: `foot.dc3`, `head.f1`, `in.dc2`, `out.f4`, `rf1`, `dc`, `opt1`, or an antenna's own
label. Two ports mate if family, interface, polish and position count agree, genders fit, and one of two arrays is pinned.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from upmast.catalogue.part import (
    AntennaPart,
    Box,
    Breaker,
    Cable,
    Connector,
    ControlCable,
    Fanout,
    Part,
    RadioPart,
    RfCable,
    RfInline,
)
from upmast.errors import MateError, UsageError

Find = Callable[[str], Connector]
SPLICE = "splice"  # interface of strands that are spliced: position to position, no keys
TERMINAL_ENDS = 2  # conductor ends that one terminal takes: common practice, no source


@dataclass(frozen=True, slots=True)
class Port:
    """One end: what passes, by which interface, and how many positions it has."""

    name: str
    family: str
    interface: str
    gender: str
    polish: str
    positions: int
    pinned: bool
    connector: str
    takes: int = 1  # ends that may be joined to it
    indoor: bool = False

    def words(self) -> str:
        extra = [self.gender] if self.gender != "none" else []
        extra += [self.polish.upper()] if self.polish != "none" else []
        extra += [f"{self.positions} positions"] if self.positions > 1 else []
        extra += ["pinned" if self.pinned else "unpinned"] if self.positions > 2 else []
        return f"{self.family} {self.interface}" + (f" ({', '.join(extra)})" if extra else "")


def port(name: str, connector: Connector) -> Port:
    """A port with a connector of the catalogue."""
    terminal = connector.family == "dc" and connector.interface.startswith("terminal")
    takes = TERMINAL_ENDS if terminal and connector.gender != "plug" else 1
    return Port(
        name,
        connector.family,
        connector.interface,
        connector.gender,
        connector.polish,
        connector.positions_count,
        connector.pinned,
        connector.id,
        takes,
        connector.indoor,
    )


def ports_of(part: Part, find: Find) -> dict[str, Port]:
    """
    All ports of a part, by name.

    Raises
    ------
    UsageError
        If the part names a connector that the catalogue does not have.
    """
    out: dict[str, Port] = {}

    def add(name: str, connector: str | None) -> None:
        if connector is not None:
            out[name] = port(name, find(connector))

    if isinstance(part, Cable):
        for end, dc, fibre in (("foot", part.dc_foot, part.fibre_foot), ("head", part.dc_head, part.fibre_head)):
            for n in range(1, part.pairs_count + 1):
                add(f"{end}.dc{n}", dc)
            if part.strands_count and fibre is not None:
                for n in range(1, part.strands_count // find(fibre).positions_count + 1):
                    add(f"{end}.f{n}", fibre)
    elif isinstance(part, Box):
        for n in range(1, part.dc_in_count + 1):
            add(f"in.dc{n}", part.dc_in)
        for n in range(1, part.dc_out_count + 1):
            add(f"out.dc{n}", part.dc_out)
        for n in range(1, part.fibre_in_count + 1):
            add(f"in.f{n}", part.fibre_in)
        for n in range(1, part.fibre_out_count + 1):
            add(f"out.f{n}", part.fibre_out)
    elif isinstance(part, RfCable | RfInline | ControlCable):
        add("foot", part.foot)
        add("head", part.head)
    elif isinstance(part, RadioPart):
        add("dc", part.dc_connector)
        for n in range(1, part.optical_ports_count + 1):
            add(f"opt{n}", part.fibre_connector)
        for n in range(1, part.rf_ports_count + 1):
            add(f"rf{n}", part.rf_connector)
        add("ctl", part.control_connector)
    elif isinstance(part, AntennaPart):
        for one in part.ports:
            add(one.name, part.rf_connector)
        add("ctl", part.control_connector)
    elif isinstance(part, Fanout):
        add("array", part.array)
        for n in range(1, part.duplex_count + 1):
            add(f"f{n}", part.duplex)
    elif isinstance(part, Breaker):
        out["out"] = Port("out", "dc", "terminal-25", "jack", "none", 1, False, "", TERMINAL_ENDS, True)
    return out


def why_not(a: Port, b: Port, lane: str = "") -> str:
    """
    Why two ports can't mate, in words; empty if they can.

    `lane` names the half of a duplex port, a or b, that a simplex one is joined to.
    """
    if a.family != b.family:
        return f"{a.family} and {b.family} never mate"
    if {a.positions, b.positions} == {1, 2} and _simplex(a) == _simplex(b):
        if not lane:
            return "a simplex port meets one half of a duplex one: say which, lane: a or b"
        if {a.gender, b.gender} != {"plug", "jack"}:
            return f"the genders do not fit: {a.gender} and {b.gender}"
        return (
            f"the end faces differ: {a.polish.upper()} and {b.polish.upper()} must not touch"
            if a.polish != b.polish
            else ""
        )
    if lane:
        return "a lane is named only where a simplex port meets one half of a duplex one"
    if a.interface != b.interface:
        return f"the interfaces differ: {a.interface} and {b.interface}"
    if a.polish != b.polish:
        return f"the end faces differ: {a.polish.upper()} and {b.polish.upper()} must not touch"
    if a.positions != b.positions:
        return f"{a.positions} positions do not meet {b.positions}"
    if {a.gender, b.gender} not in ({"plug", "jack"}, {"none"}):
        return f"the genders do not fit: {a.gender} and {b.gender}"
    if a.positions > 2 and a.pinned == b.pinned and not a.interface.startswith(SPLICE):
        return "both are pinned" if a.pinned else "neither is pinned (IEC 61754-7: one of the two has the pins)"
    return ""


def _simplex(port: Port) -> str:
    return port.interface.replace("duplex", "simplex") if port.family == "fibre" else port.name


def crossed_fault(a: Port, b: Port, keys: str) -> str:
    """Why two ends can't have their halves exchanged; empty where they can, or where they aren't."""
    two = a.positions == b.positions == 2 and not a.interface.startswith(SPLICE)
    return "" if keys != "crossed" or two else "lanes can be crossed only where a duplex plug meets a duplex port"


def check_mate(end_a: str, a: Port, end_b: str, b: Port, lane: str = "", keys: str = "opposed") -> None:
    """Raises MateError naming both ends and the reason, if they can't mate."""
    reason = why_not(a, b, lane) or crossed_fault(a, b, keys)
    if reason:
        raise MateError(f"{end_a} [{a.words()}] can't be joined to {end_b} [{b.words()}]: {reason}")


__all__ = ["SPLICE", "Port", "UsageError", "check_mate", "port", "ports_of", "why_not"]

"""
Random power networks and what ngspice, a general-purpose circuit simulator, finds in them: writes networks.json.

A network follows from its kind and seed alone. Which seeds are kept is chosen by how near to collapse the network works, so
that each kind goes from light load to nearly all that its wires can carry; the answers are ngspice's only. All sizes are
invented, in the range of common practice (no source): a -48 V plant at 42 to 56 V, pairs of 20 to 150 m and 4 to 25 mm2,
radios of 200 to 1200 W.

    python tests/published/power_networks/make.py
"""

from __future__ import annotations

import json
import random
import re
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
DATA = HERE / "networks.json"
KINDS = (
    "straight_pairs", "bussed_box", "cascade", "unequal_pairs", "spare_on_one_side", "line_unlike_return", "isolated_return",
    "common_return", "raised", "raised_compensated", "raised_clamped", "mixed_loads", "current_limited",
)  # fmt: skip
# Share of the power of collapse at which a network works: one network of each kind in each band.
BANDS = ((0.02, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 0.78), (0.78, 0.9))
# Copper at 20 C, ohm/km by mm2: round figures for the draw, not a limit.
OHM_PER_KM = {4: 4.61, 6: 3.08, 10: 1.83, 16: 1.15, 25: 0.727}
# Below this a constant-power load draws no more current: keeps the start of the search away from a division by 0.
FLOOR_V = 5.0
Net = dict[str, Any]


class Draw:
    """Numbers from a seed. Only `random` itself is drawn: its sequence is the same in all versions of Python."""

    def __init__(self, seed: int) -> None:
        self.source = random.Random(seed)

    def between(self, low: float, high: float, digits: int = 6) -> float:
        return round(low + (high - low) * self.source.random(), digits)

    def whole(self, low: int, high: int) -> int:
        return low + int((high - low + 1) * self.source.random())

    def pick(self, choices: Sequence[int]) -> int:
        return choices[self.whole(0, len(choices) - 1)]


class Wires:
    """Collects branches by node name. Line wires leave 'bar', return wires end at 'return'."""

    def __init__(self, draw: Draw) -> None:
        self.draw = draw
        self.names = {"source": 0, "return": 1}
        self.ends: list[tuple[int, int]] = []
        self.ohm: list[float | None] = []
        self.ports: list[tuple[int, int]] = []
        self.warm = 1 + 0.00393 * (draw.whole(-20, 60) - 20)
        self.join("source", "bar", draw.between(0.002, 0.015))

    def node(self, name: str) -> int:
        return self.names.setdefault(name, len(self.names))

    def join(self, a: str, b: str, ohm: float | None) -> None:
        """None is an open branch."""
        self.ends.append((self.node(a), self.node(b)))
        self.ohm.append(ohm)

    def wire(self, a: str, b: str, length_m: float, area: int) -> None:
        joints = self.draw.between(0.0005, 0.003)
        self.join(a, b, round(OHM_PER_KM[area] * length_m / 1000 * self.warm + joints, 6))

    def pair(self, before: tuple[str, str], after: str, length_m: float, area: int, back: int = 0) -> None:
        """Line and return from `before` to the box or radio `after`; `back`: area of the return where it is another."""
        self.wire(before[0], f"{after}+", length_m, area)
        self.wire(before[1], f"{after}-", length_m, back or area)

    def radio(self, box: str, name: str) -> None:
        self.pair((f"{box}+", f"{box}-"), name, self.draw.between(1.5, 8, 1), self.draw.pick((4, 6)))
        self.ports.append((self.node(f"{name}+"), self.node(f"{name}-")))


FEED = ("bar", "return")
AREAS = tuple(OHM_PER_KM)


def _straight(wires: Wires, count: int, unlike: bool = False) -> None:
    draw = wires.draw
    length, area = draw.between(20, 150, 1), draw.pick(AREAS)
    back = draw.pick([other for other in AREAS if other != area]) if unlike else area
    for k in range(count):
        wires.pair(FEED, f"b{k}", length, area, back)
        wires.radio(f"b{k}", f"r{k}")


def _bussed(wires: Wires, count: int, unlike: bool = False, unequal: bool = False) -> float:
    """Parallel pairs to one bussed box; gives back the length."""
    draw = wires.draw
    length, area = draw.between(20, 150, 1), draw.pick(AREAS)
    back = draw.pick([other for other in AREAS if other != area]) if unlike else area
    for k in range(draw.whole(2, 4) if unequal else draw.whole(1, max(1, count))):
        if unequal and k:
            area = back = draw.pick([other for other in AREAS if other != area])
        wires.pair(FEED, "box", length, area, back)
    for k in range(count):
        wires.radio("box", f"r{k}")
    return length


def _cascade(wires: Wires, count: int) -> None:
    draw, before = wires.draw, FEED
    boxes = draw.whole(2, min(3, count))
    for box in range(boxes):
        length, area = draw.between(20, 100 if box == 0 else 40, 1), draw.pick(AREAS)
        for _ in range(draw.whole(1, 4)):
            wires.pair(before, f"box{box}", length, area)
        before = (f"box{box}+", f"box{box}-")
    for k in range(count):
        wires.radio(f"box{k % boxes}", f"r{k}")


def _either(wires: Wires, count: int, unlike: bool = False) -> None:
    if wires.draw.whole(0, 1):
        _straight(wires, count, unlike)
    else:
        _bussed(wires, count, unlike)


def _shielded(wires: Wires, count: int, common: bool) -> None:
    """One or two boxes, and a shield beside the returns: bonded at the base, and where common at the boxes, too."""
    draw = wires.draw
    boxes = draw.whole(1, min(2, count))
    length, area = draw.between(20, 150, 1), draw.pick(AREAS)
    for box in range(boxes):
        for _ in range(draw.whole(1, 3)):
            wires.pair(FEED, f"box{box}", length, area)
        wires.join(f"box{box}-", "mast", draw.between(0.001, 0.01) if common else None)
    wires.join("mast", "foot", round(draw.between(1.0, 3.0) * length / 1000, 6))
    wires.join("foot", "return", draw.between(0.001, 0.005))
    if common:  # the structure lies beside the shield
        wires.join("mast", "return", draw.between(0.02, 0.2))
    for k in range(count):
        wires.radio(f"box{k % boxes}", f"r{k}")


def network(kind: str, seed: int) -> Net:
    """The network of a kind and seed, in plain numbers; None is an open branch or no limit."""
    draw = Draw(seed)
    wires = Wires(draw)
    count = draw.whole(2 if kind in ("cascade", "current_limited") else 3 if kind == "mixed_loads" else 1, 9)
    if kind == "straight_pairs":
        _straight(wires, count)
    elif kind == "cascade":
        _cascade(wires, count)
    elif kind in ("isolated_return", "common_return"):
        _shielded(wires, count, kind == "common_return")
    elif kind in ("bussed_box", "unequal_pairs", "spare_on_one_side"):
        length = _bussed(wires, count, unequal=kind == "unequal_pairs")
        if kind == "spare_on_one_side":
            ends = ("bar", "box+") if draw.whole(0, 1) else ("return", "box-")
            wires.wire(*ends, length, draw.pick(AREAS))
    else:
        _either(wires, count, unlike=kind == "line_unlike_return")
    power: list[float] = [draw.whole(200, 1200) for _ in range(count)]
    current, conductance = [0.0] * count, [0.0] * count
    limit: list[float | None] = [None] * count
    if kind == "mixed_loads":
        for k in range(count):
            part = k if k < 3 else draw.whole(0, 3)  # each alone, or all three at one port
            if part in (1, 3):
                current[k] = draw.between(0.5, 6, 3)
            if part in (2, 3):
                conductance[k] = draw.between(0.02, 0.2, 5)
            if part in (1, 2):
                power[k] = 0
    if kind == "current_limited":
        limit = [round(p / draw.between(36, 46), 3) for p in power]
    net: Net = {
        "kind": kind,
        "seed": seed,
        "node_count": len(wires.names),
        "branch_from": [a for a, _ in wires.ends],
        "branch_to": [b for _, b in wires.ends],
        "branch_ohm": wires.ohm,
        "source_plus": 0,
        "source_minus": 1,
        "emf_v": draw.between(42, 56, 2),
        "port_plus": [a for a, _ in wires.ports],
        "port_minus": [b for _, b in wires.ports],
        "power_w": power,
        "current_a": current,
        "conductance_s": conductance,
        "limit_a": limit,
    }
    if kind.startswith("raised"):
        plain = kind == "raised"
        set_v = draw.between(54, 58, 2)
        net["converter"] = {
            "set_v": set_v,
            "maximum_v": round(set_v + (0 if plain else draw.between(1, 8, 2)), 2),
            "efficiency_fraction": draw.between(0.93, 0.98, 3),
            "idle_w": draw.between(5, 40, 1),
            "compensation_ohm": 0.0 if plain else draw.between(0.01, 0.3, 4),
        }
        net["plant"] = {
            "emf_v": draw.between(42, 52, 2),
            "source_ohm": draw.between(0.002, 0.015),
            "base_w": draw.whole(0, 1500) if draw.whole(0, 1) else 0,
        }
    return net


def seen_branches(net: Net) -> list[int]:
    """About 8 closed branches whose currents are compared: the first, the last, and those of the shield to the base."""
    closed = [k for k, ohm in enumerate(net["branch_ohm"]) if ohm is not None]
    step = max(1, -(-(len(closed) - 1) // 7))
    shield = (k for k in closed if net["branch_to"][k] == net["source_minus"])
    return sorted({*closed[::step], closed[-1], *shield})


def _no_load_plus(net: Net) -> set[int]:
    """Nodes that wires join to the plus node of the source."""
    reached = {net["source_plus"]}
    while True:
        more = set(reached)
        for a, b, ohm in zip(net["branch_from"], net["branch_to"], net["branch_ohm"], strict=True):
            if ohm is not None and (a in reached or b in reached):
                more |= {a, b}
        if more == reached:
            return reached
        reached = more


def probes(net: Net) -> dict[str, list[str]]:
    """What is printed, by the name of the answer."""

    def name(node: int) -> str:
        return "0" if node == net["source_minus"] else f"n{node}"

    ports = list(zip(net["port_plus"], net["port_minus"], strict=True))
    asked = {
        "port_v": [f"v({name(a)},{name(b)})" for a, b in ports],
        "port_a": [f"@bl{k}[i]" for k in range(len(ports))],
        "branch_a": [f"@r{k}[i]" for k in seen_branches(net)],
    }
    if "converter" not in net:
        return {**asked, "source_a": ["-i(vs)"]}
    return {
        **asked,
        "output_v": [f"v({name(net['source_plus'])})"],
        "output_a": ["i(vs)"],
        "input_v": ["v(bars)"],
        "input_a": ["@bin[i]"],
        "bus_a": ["-i(vp)"],
    }


def netlist(net: Net) -> str:
    """
    The network as ngspice reads it; the return node of the source is its ground.

    A load is a current source that reads its own voltage. The search starts from the voltages without load, from where it
    goes down to the high-voltage solution.
    """

    def name(node: int) -> str:
        return "0" if node == net["source_minus"] else f"n{node}"

    plus = name(net["source_plus"])
    lines = [f"* {net['kind']} {net['seed']}"]
    start_v = net["emf_v"]
    nodeset = []
    if "converter" in net:
        unit, plant = net["converter"], net["plant"]
        start_v = unit["set_v"]
        nodeset = [f"v(plant)={plant['emf_v']}", f"v(bars)={plant['emf_v']}", f"v(out)={start_v}"]
        lines += [
            f"vp plant 0 dc {plant['emf_v']}",
            f"rp plant bars {plant['source_ohm']}",
            f"bbase bars 0 i={{{plant['base_w']}/max(v(bars),{FLOOR_V})}}",
            f"bin bars 0 i={{(v(out)*i(vs)/{unit['efficiency_fraction']}+{unit['idle_w']})/max(v(bars),{FLOOR_V})}}",
            f"bout out 0 v={{min({unit['set_v']}+{unit['compensation_ohm']}*i(vs),{unit['maximum_v']})}}",
            f"vs out {plus} dc 0",
        ]
    else:
        lines += [f"vs {plus} 0 dc {start_v}"]
    for k, ohm in enumerate(net["branch_ohm"]):
        if ohm is not None:
            lines.append(f"r{k} {name(net['branch_from'][k])} {name(net['branch_to'][k])} {ohm}")
    for k, (a, b) in enumerate(zip(net["port_plus"], net["port_minus"], strict=True)):
        v = f"v({name(a)},{name(b)})"
        drawn = f"{net['power_w'][k]}/max({v},{FLOOR_V})"
        if net["limit_a"][k] is not None:
            drawn = f"min({drawn},{net['limit_a'][k]})"
        if net["current_a"][k]:
            drawn += f"+{net['current_a'][k]}"
        if net["conductance_s"][k]:
            drawn += f"+{net['conductance_s'][k]}*{v}"
        lines.append(f"bl{k} {name(a)} {name(b)} i={{{drawn}}}")
    above = _no_load_plus(net)
    nodeset += [
        f"v({name(k)})={start_v if k in above else 0}" for k in range(net["node_count"]) if k != net["source_minus"]
    ]
    lines += [f".nodeset {one}" for one in nodeset]
    lines += [".options reltol=1e-12 vntol=1e-12 abstol=1e-12 gmin=1e-18 itl1=500", ".control", "set numdgt=13", "op"]
    lines += ["print " + " ".join(group) for group in probes(net).values()]
    return "\n".join([*lines, ".endc", ".end", ""])


def version(program: str) -> str:
    shown = subprocess.run([program, "--version"], capture_output=True, text=True, timeout=30, check=False).stdout
    found = re.search(r"ngspice-\S+", shown)
    return found.group() if found else "unknown"


def run(program: str, nets: Sequence[Net], netlists: Sequence[str]) -> list[dict[str, list[float]] | None]:
    """All netlists in one process of ngspice; None where it finds no operating point."""
    with tempfile.TemporaryDirectory() as folder:
        main = ["* all", ".control"]
        for k, text in enumerate(netlists):
            Path(folder, f"{k}.cir").write_text(text, "utf-8")
            main += [f"echo @@@ {k}", f"source {k}.cir", "destroy all", "remcirc"]
        Path(folder, "main.cir").write_text("\n".join([*main, "quit", ".endc", ".end", ""]), "utf-8")
        ran = subprocess.run(
            [program, "-n", "-b", "main.cir"], cwd=folder, capture_output=True, text=True, timeout=120, check=False
        )
    parts = re.split(r"^@@@ (\d+)\s*$", ran.stdout, flags=re.MULTILINE)
    texts = dict(zip(map(int, parts[1::2]), parts[2::2], strict=True))
    answers: list[dict[str, list[float]] | None] = []
    for k, net in enumerate(nets):
        printed = [float(x) for x in re.findall(r"^\S+ = (\S+)\s*$", texts.get(k, ""), flags=re.MULTILINE)]
        asked = probes(net)
        if len(printed) != sum(map(len, asked.values())):
            answers.append(None)
            continue
        values = iter(printed)
        answers.append({name: [next(values) for _ in group] for name, group in asked.items()})
    return answers


def fits(net: Net, answer: dict[str, list[float]] | None) -> bool:
    """Whether an answer is an operating point above the floor that shows what its kind is there to show."""
    if answer is None or min(answer["port_v"]) < 2 * FLOOR_V:
        return False
    kind = net["kind"]
    if kind.startswith("raised"):
        unit, output = net["converter"], answer["output_v"][0]
        if answer["input_v"][0] > output:
            return False
        if kind == "raised_compensated":
            return bool(unit["set_v"] + 0.1 < output < unit["maximum_v"] - 0.1)
        if kind == "raised_clamped":
            asked = unit["set_v"] + unit["compensation_ohm"] * answer["output_a"][0]
            return bool(asked > unit["maximum_v"] + 0.1)
    if kind == "current_limited":
        pairs = zip(net["power_w"], net["limit_a"], answer["port_v"], strict=True)
        return any(power > 1.001 * limit * v for power, limit, v in pairs)
    return True


def loading(net: Net) -> float:
    """Share of the power of collapse, limits aside: only to choose how hard a network works."""
    import numpy as np

    from upmast import power
    from upmast.power.loads import Loads

    unit = net.get("converter")
    wires = power.Network(
        net["node_count"],
        np.array(net["branch_from"]),
        np.array(net["branch_to"]),
        np.array([np.inf if ohm is None else ohm for ohm in net["branch_ohm"]]),
        net["source_plus"],
        net["source_minus"],
        np.array(net["emf_v"] if unit is None else unit["maximum_v"]),
        np.array(net["port_plus"]),
        np.array(net["port_minus"]),
    )
    factor = float(
        power.collapse_factor(wires, Loads(net["power_w"], net["current_a"], net["conductance_s"]), tolerance=1e-3)
    )
    return 1 / factor if factor > 0 else float("inf")


def main() -> None:
    program = shutil.which("ngspice")
    if program is None:
        raise SystemExit("make.py needs ngspice on the path: install it, or keep the stored answers")
    rows = []
    for number, kind in enumerate(KINDS):
        wanted = dict.fromkeys(range(len(BANDS)))
        found: dict[int, Net] = {}
        seed = 10_000 * number
        while len(found) < len(wanted):
            seed += 1
            if seed % 10_000 == 0:
                raise SystemExit(f"{kind}: no seed for the bands {sorted(set(wanted) - set(found))}")
            net = network(kind, seed)
            share = loading(net)
            band = next((k for k, (low, high) in enumerate(BANDS) if low <= share < high and k not in found), None)
            if band is None:
                continue
            answer = run(program, [net], [netlist(net)])[0]
            if fits(net, answer):
                found[band] = {"loading_fraction": round(share, 3), "network": net, "ngspice": answer}
        rows += [found[band] for band in sorted(found)]
        print(kind, [row["network"]["seed"] for row in rows[-len(BANDS) :]], flush=True)
    nets = [row["network"] for row in rows]
    texts = [netlist(net) for net in nets]
    for row, text, again in zip(rows, texts, run(program, nets, texts), strict=True):
        row["netlist"] = text
        if again != row["ngspice"]:
            raise SystemExit(f"{row['network']['kind']}: two runs of ngspice differ")
    body = ",\n".join(json.dumps(row, separators=(",", ":")) for row in rows)
    DATA.write_text(f'{{"ngspice_version":"{version(program)}","rows":[\n{body}\n]}}\n', "utf-8")


if __name__ == "__main__":
    main()

"""Small lines and proofs to make documents of: the rooms' results are made here, so that documents are tested alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import pytest

from upmast.catalogue.catalogue import standard
from upmast.finding import Authority, Expectation, Figure, Finding, Limit, Sense, Stage, judge
from upmast.formula import sqrt, symbols
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.line import Line
from upmast.proof.limits import limits_of
from upmast.proof.prove import Proof, RoomProof
from upmast.proof.scenarios import scenarios_of
from upmast.room import Result
from upmast.site.site import Site
from upmast.source import PRACTICE, Mark, Origin, Source
from upmast.working import ChoiceStep, FormulaStep, LookupStep, Quantity, SolvedStep, Step

IEC = Source("IEC 60228", "table 3")
BOX = {1: 2, 2: 2, 3: 3, 4: 4, 5: 6, 6: 6, 9: 9, 12: 12}
LETTERS = "ABCDEFGH"


def make_site(radios: int, separate: bool = False, note: str = "invented", name: str = "Hill farm") -> Site:
    sectors = min(3, radios)
    listed, antennas = [], []
    for s in range(sectors):
        letter = LETTERS[s]
        mine = [n for n in range(radios) if n % sectors == s]
        for k in range(0, len(mine), 2):
            antennas.append(
                {"id": f"{letter}-ANT{k // 2 + 1}", "sector": letter, "part": "antenna-8", "height_m": 42.0}
            )
        for k in range(len(mine)):
            low = k % 2 == 0
            ports = ("R1", "R2") if low else ("Y1", "Y2", "Y3", "Y4")
            part = "radio-low-2t2r" if low else "radio-mid-4t4r"
            listed.append(
                {
                    "id": f"{letter}{k + 1}", "sector": letter, "part": part, "height_m": 40.0 - (k % 2) * 1.5,
                    "antenna": f"{letter}-ANT{k // 2 + 1}", "antenna_ports": ports, "fibre": {"links_count": 1, "standby_count": 0},
                }
            )  # fmt: skip
    return Site.model_validate(
        {
            "version": 1, "id": "HF-01", "name": name, "author": "N. Planner", "note": note,
            "cabinet": {
                "height_m": 0.5,
                "plant": {"float_v": 54, "on_battery_v": 48, "end_of_discharge_v": 43.2, "source_resistance_ohm": 0.004},
            },
            "route": {
                "legs": [
                    {"name": "cabinet wall", "kind": "indoor", "length_m": 2},
                    {"name": "ice bridge", "kind": "bridge", "length_m": 6},
                    {"name": "mast", "kind": "vertical", "length_m": 37.5},
                ],
                "slack_m": 3,
            },
            "mast": {"kind": "lattice", "height_m": 45},
            "sectors": [{"id": LETTERS[s], "azimuth_deg": 120 * s} for s in range(sectors)],
            "radios": listed, "antennas": antennas,
        }
    )  # fmt: skip


def make_line(site: Site, separate: bool = False, trunks: int = 1) -> Line:
    catalogue = standard()
    if separate:
        chosen = tuple(RadioChoice("breaker-32", "dc-run-16", "fibre-run-2f", RF) for _ in site.radios)
        return build(site, catalogue, Choice("separate", chosen))
    each = -(-len(site.radios) // trunks)
    outputs = next(n for n in (2, 3, 4, 6, 9, 12) if n >= each)
    chosen = tuple(RadioChoice("breaker-32", "hybrid-jumper-1x6-2f", "", RF) for _ in site.radios)
    trunk = f"hybrid-{outputs}x16-{4 * outputs}f"
    return build(site, catalogue, Choice("hybrid", chosen, trunk, trunks, f"box-straight-{outputs}-lc"))


RF = "rf-jumper-12-43-43"


def quantity(symbol: str, value: float, unit: str, meaning: str, origin: Origin = Origin.LISTED) -> Quantity:
    return Quantity(symbol, value, unit, meaning, origin, IEC)


def steps(value: float) -> tuple[Step, ...]:
    v_s, r, p = symbols("V_s R P")
    expression = (v_s + sqrt(v_s**2 - 4 * r * p)) / 2
    inputs = (
        quantity("V_s", 43.2, "V", "plant at the end of its battery", Origin.DECLARED),
        quantity("R", 0.138, "Ω", "loop resistance of the pair, hot"),
        quantity("P", 1000.0, "W", "input power of the radio"),
    )
    got = expression.value({q.symbol: q.value for q in inputs})
    formula = FormulaStep(quantity("V_r", got, "V", "voltage at the radio", Origin.EXPECTED), expression, inputs)
    return (
        ChoiceStep("low-hot", "the scenario with the lowest voltage", ("low-hot", "float-hot")),
        LookupStep(
            quantity("r", 1.21, "Ω/km", "resistance of a 16 mm² class 5 conductor"), "IEC 60228 class 5", "16 mm²"
        ),
        SolvedStep(
            (quantity("V_r", got, "V", "voltage at the radio", Origin.EXPECTED),),
            "Newton's method",
            "1e-12 V",
            "balance",
            (formula,),
        ),
        formula,
    )


@dataclass
class FakeRoom:
    """Stands in for a room's check."""

    CAUTIONS: tuple[str, ...] = ("Isolate, lock, label and prove dead before work.",)
    asked: list[str] = field(default_factory=list)

    def working(self, inputs: object, limits: object, found: Finding | Figure) -> tuple[Step, ...]:
        self.asked.append(found.key)
        return steps(found.value or 0.0)


def make_proof(site: Site, line: Line, hurt: bool = True) -> Proof:
    findings: list[Finding] = []
    volts = Limit("power.voltage-at-radio", 38.4, "V", Sense.AT_LEAST, Authority.PART, IEC)
    reach = Limit("support.reach", 0.0, "m", Sense.AT_LEAST, Authority.PRACTICE, PRACTICE, scale=2.0)
    loss = Limit(
        "rf.return-loss-at-radio", 14.0, "dB", Sense.AT_LEAST, Authority.PRACTICE, Source("IEC 61169", mark=Mark.MEMORY)
    )
    for n, radio in enumerate(line.of_kind("radio")):
        value = 37.9 if hurt and n == 0 else 39.0 + 1.4 * n
        findings.append(judge("power.voltage-at-radio", radio.id, value, volts, scenario="low-hot", items=(radio.id,)))
    rf: list[Finding] = []
    for n, item in enumerate(line.of_kind("rf-jumper")):
        if hurt and n % 5 == 2:
            rf.append(judge("rf.return-loss-at-radio", item.id, 16.0, loss, items=(item.id,)))
    spans: list[Finding] = []
    for n, item in enumerate(i for i in line.items if i.span):
        spans.append(judge("support.reach", item.id, 0.1 + 0.13 * (n % 9), reach, items=(item.id,)))
    figures = (Figure("power.line-loss", "T1", 312.0, "W", "heat in the line", IEC, items=("T1",)),)
    rooms = {
        "power": RoomProof("power", "k", None, Result(tuple(findings), figures)),
        "rf": RoomProof("rf", "k", None, Result(tuple(rf), ())),
        "support": RoomProof("support", "k", None, Result(tuple(spans), ())),
    }
    return Proof(site, line, scenarios_of(site), limits_of(site), rooms)


def expectation(n: int) -> Expectation:
    return Expectation(
        f"A1-J{n}.rl.load", f"A1-J{n}", "Return loss with a load", "return loss", "dB", (26.0,), (34.0,), "load at the top", where="at the foot",
        stage=Stage.ACCEPTANCE,
    )  # fmt: skip


@pytest.fixture(autouse=True)
def fake_rooms(monkeypatch: pytest.MonkeyPatch) -> FakeRoom:
    from upmast.proof import prove

    room = FakeRoom()
    monkeypatch.setattr(prove, "room", lambda name: room)
    monkeypatch.setattr(Proof, "expectations", tuple(expectation(n) for n in range(1, 4)))
    return room


@pytest.fixture
def proof_of() -> Callable[..., Proof]:
    def make(
        radios: int = 3,
        *,
        separate: bool = False,
        trunks: int = 1,
        hurt: bool = True,
        change: dict[str, object] | None = None,
        **site: str,
    ) -> Proof:
        one = make_site(radios, **site)
        if change:
            one = Site.model_validate(one.model_dump() | change)
        return make_proof(one, make_line(one, separate, trunks), hurt)

    return make

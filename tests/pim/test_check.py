"""The intermodulation room on a small line: against plain arithmetic, every vector tried, and what happens with gaps."""

from __future__ import annotations

import importlib.util
import itertools
import math
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from upmast.digest import digest
from upmast.finding import Verdict
from upmast.limits import Limits
from upmast.line.line import Line
from upmast.pim import check as pim
from upmast.pim.level import channel_share
from upmast.pim.mixing import Receive, Tone, hits, noise_rise, orders_tried, share_bound, trade_text
from upmast.proof.limits import limits_of
from upmast.proof.scenarios import scenarios_of
from upmast.room import Result
from upmast.site.site import Site
from upmast.working import FormulaStep, SolvedStep

MHZ = 1_000_000


def _make() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make", Path(__file__).parent.parent / "sites" / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


make = _make()
TEXT: str = make.text("three_radios")
SITE: Site = make.site(TEXT)
LINE: Line = make.line(SITE)
NEIGHBOUR = (
    "neighbours: [{name: other operator, height_m: 20, carriers: [{centre_mhz: 1835, width_mhz: 20, power_w: 40}]}]\n"
)


def prove(line: Line = LINE, site: Site = SITE, limits: Limits | None = None) -> Result:
    return pim.check(pim.inputs(line, site, scenarios_of(site)), limits or limits_of(site))


def find(result: Result, key: str) -> Any:
    return next(f for f in (*result.findings, *result.figures) if f.key == key)


def with_part(line: Line, id: str, **values: object) -> Line:
    return replace(line, parts={**line.parts, id: line.parts[id].model_copy(update=values)})


def tone(centre: float, width: float = 10, tdd: tuple[int, int] = (0, 0)) -> Tone:
    return Tone(round(centre * MHZ), round(width * MHZ), (tdd[0] * MHZ, tdd[1] * MHZ))


def receive(low: float, high: float, band: str = "", tdd: tuple[int, int] = (0, 0)) -> Receive:
    return Receive(round(low * MHZ), round(high * MHZ), band, (tdd[0] * MHZ, tdd[1] * MHZ))


def test_noise_rise_by_plain_arithmetic() -> None:
    """
    Two carriers of 20 W and 10 MHz at 1815 and 1855 MHz; two joints and the cable of -160 dBc, the antenna of -153 dBc. In 1755 to 1765 MHz falls the
    edge of the third order (1760 to 1790) and that of the fifth (1710 to 1760). The spectrum of n equal carriers is the
    density of a sum of n uniform variables: a corner of half a width holds 0.5^n / n! of it.
    """
    carrier = 10 * math.log10(20e3)
    chain = 10 * math.log10(3 * 10**-16.0 + 10**-15.3)
    third = chain + 43 + 3 * (carrier - 43) + 10 * math.log10(2) + 10 * math.log10(0.5**3 / 6)
    fifth = chain + 43 - 15 + 5 * (carrier - 43) + 10 * math.log10(12) + 10 * math.log10(0.5**5 / 120)
    noise = 10 * math.log10(1.380649e-23 * 290 * 10e6) + 30 + 3
    power = 10 ** (third / 10) + 10 ** (fifth / 10)
    expected = 10 * math.log10(1 + power / 10 ** (noise / 10))
    found = find(prove(), "pim.noise-rise@A1")
    assert found.value == pytest.approx(expected, rel=2e-3)  # shares come from a series
    assert found.verdict is Verdict.PASSES
    assert found.note.startswith("2x1815.0 - 1855.0 = 1775.0 MHz, order 3, in B3 uplink 1755.0-1765.0; ")
    assert "4 sources of A1-J1 make -151.0 dBc together, the worst: antenna-12 with -153 dBc" in found.note
    assert found.items == ("A1", "A1-J1", "A-ANT", "A1-J2", "A1-J3", "A1-J4")


def test_counts_of_one_radio() -> None:
    result = prove()
    # order 3: 1760-1790, order 5: 1710-1760 and order 7: 1660-1730 against 1715-1725 and 1755-1765
    assert find(result, "pim.products@A1").value == 3
    assert find(result, "pim.lowest-order@A1").value == 3


def test_where_nothing_hits_the_rise_is_nought() -> None:
    result = prove()
    for radio in ("A2", "A3"):
        found = find(result, f"pim.noise-rise@{radio}")
        assert (found.value, found.verdict) == (0.0, Verdict.PASSES)
        assert found.note == "no product up to order 7 falls into own receive channels"
        assert find(result, f"pim.products@{radio}").value == 0
        assert not any(f.key == f"pim.lowest-order@{radio}" for f in result.figures)


def test_a_worse_part_counts_with_its_share() -> None:
    worse = find(prove(with_part(LINE, "4.3-10-jack", pim_dbc=-130.0)), "pim.noise-rise@A1")
    assert "the worst: 4.3-10-jack with -130 dBc" in worse.note
    ratio = [10 ** (f.value / 10) - 1 for f in (worse, find(prove(), "pim.noise-rise@A1"))]
    # the jack sits at both ends of the jumper: two joints of -130 dBc beside -160 and -153 dBc, against three of -160 and one of -153
    jacks = (2 * 10**-13.0 + 10**-16.0 + 10**-15.3) / (3 * 10**-16.0 + 10**-15.3)
    assert ratio[0] / ratio[1] == pytest.approx(jacks, rel=1e-9)


@pytest.mark.parametrize("part", ["4.3-10-jack", "rf-jumper-12-43-43", "antenna-12"])
def test_a_part_without_a_level_is_not_judged_where_something_hits(part: str) -> None:
    result = prove(with_part(LINE, part, pim_dbc=None))
    found = find(result, "pim.noise-rise@A1")
    assert (found.verdict, found.value) == (Verdict.NOT_JUDGED, None)
    assert found.missing == (f"pim_dbc of {part}",)
    assert find(result, "pim.noise-rise@A2").verdict is Verdict.PASSES  # no product, so its level does not matter
    assert find(result, "pim.products@A1").value == 3


def test_a_radio_without_carriers_is_not_judged() -> None:
    radios = (SITE.radios[0].model_copy(update={"carriers": ()}), *SITE.radios[1:])
    result = prove(site=SITE.model_copy(update={"radios": radios}))
    found = find(result, "pim.noise-rise@A1")
    assert (found.verdict, found.missing) == (Verdict.NOT_JUDGED, ("the carriers of the radio",))
    assert find(result, "pim.noise-rise@A2").verdict is Verdict.PASSES
    assert not any(f.key == "pim.products@A1" for f in result.figures)


def test_an_unknown_band_is_not_judged_for_all_that_share_the_antenna() -> None:
    carriers = (SITE.radios[1].carriers[0].model_copy(update={"band": "", "centre_hz": 1.0e9}),)
    radios = (SITE.radios[0], SITE.radios[1].model_copy(update={"carriers": carriers}), SITE.radios[2])
    result = prove(site=SITE.model_copy(update={"radios": radios}))
    assert find(result, "pim.noise-rise@A1").verdict is Verdict.NOT_JUDGED
    assert "1000 MHz" in find(result, "pim.noise-rise@A1").missing[0]
    assert find(result, "pim.noise-rise@A3").verdict is Verdict.PASSES  # on an antenna of its own
    assert "without the band of the carrier at 1000 MHz" in find(result, "pim.sector@A").note


@pytest.mark.parametrize("end", ["A1-J1.head", "A1-J1.foot"])
def test_a_path_that_leads_nowhere_is_not_judged(end: str) -> None:
    gone = [j for j in LINE.joints if end in (j.a, j.b)]
    left = tuple(j for j in LINE.joints if j not in gone)
    found = find(prove(replace(LINE, joints=left)), "pim.noise-rise@A1")
    if end.endswith("head"):
        assert found.missing == ("an antenna at the end of A1-J1",)
    else:
        assert found.verdict is Verdict.PASSES  # the other ports still are; the RF room fails this one
    none = tuple(j for j in LINE.joints if not j.a.startswith("A1.rf"))
    assert "no port of it is joined" in find(prove(replace(LINE, joints=none)), "pim.noise-rise@A1").missing[0]


TONES = (tone(806), tone(1815, 20), tone(1855), tone(2140, 20))
CHANNELS = (receive(842, 852, "B20"), receive(1710, 1730, "B3"), receive(1755, 1765, "B3"), receive(1940, 1960, "B1"))


def tried(tones: tuple[Tone, ...], channels: tuple[Receive, ...], orders: tuple[int, ...]) -> set[tuple[int, ...]]:
    """Every vector of whole numbers, one by one."""
    out = set()
    for c in itertools.product(range(-max(orders), max(orders) + 1), repeat=len(tones)):
        if sum(map(abs, c)) not in orders:
            continue
        f = sum(n * t.centre_hz for n, t in zip(c, tones, strict=True))
        w = sum(abs(n) * t.width_hz for n, t in zip(c, tones, strict=True))
        if f > 0 and any(2 * f + w > 2 * one.low_hz and 2 * f - w < 2 * one.high_hz for one in channels):
            out.add(c)
    return out


def test_products_are_those_found_by_trying_every_vector() -> None:
    found = hits(TONES, CHANNELS)
    expected = tried(TONES, CHANNELS, (3, 5, 7))
    assert found.orders == (3, 5, 7)
    assert {tuple(int(c) for c in row) for row in found.coefficients} == expected
    assert found.distinct() == len(expected) < found.order.size  # some hit two channels
    assert np.all(np.diff(found.order) >= 0)


def test_many_carriers_leave_out_high_orders_and_say_so() -> None:
    assert orders_tried(2) == (3, 5, 7)
    assert orders_tried(12) == (3, 5)
    assert orders_tried(12, 20_000) == (3,)
    radio = SITE.radios[0]
    carriers = tuple(
        radio.carriers[0].model_copy(update={"centre_hz": 1.81e9 + n * 5e6, "width_hz": 5e6}) for n in range(12)
    )
    radios = (radio.model_copy(update={"carriers": carriers}), *SITE.radios[1:])
    found = find(prove(site=SITE.model_copy(update={"radios": radios})), "pim.noise-rise@A1")
    assert "orders up to 5 only, there are 12 carriers" in found.note


def test_carriers_are_silent_while_their_band_listens() -> None:
    band = (3300, 3800)
    tones = (tone(3440, 20, band), tone(3470, 20, band))
    own = (receive(3430, 3450, "n78", band), receive(3460, 3480, "n78", band))
    assert hits(tones, own).order.size == 0
    always = tuple(replace(one, tdd_hz=(0, 0)) for one in own)
    assert hits(tones, always).order.size > 0
    # carriers of another band do not fall silent: 2 x 2140 - 806 = 3474 MHz
    both = (*tones, tone(2140), tone(806))
    found = hits(both, own)
    assert found.order.size > 0
    assert not found.coefficients[:, :2].any()


def test_the_bound_of_the_share_is_never_below_the_share() -> None:
    found = hits(TONES, CHANNELS)
    bound = share_bound(found, TONES, CHANNELS)
    centres, widths = [t.centre_hz for t in TONES], [t.width_hz for t in TONES]
    low = [CHANNELS[n].low_hz for n in found.receive]
    high = [CHANNELS[n].high_hz for n in found.receive]
    share = channel_share(found.coefficients, centres, widths, low, high)
    assert np.all(share <= bound + 1e-4)
    assert np.any(share < bound / 2)


def test_a_tone_without_width_is_wholly_in_its_channel() -> None:
    tones, channels = (Tone(930 * MHZ, 0), Tone(957 * MHZ, 0)), (receive(880, 915, "B8"),)
    assert share_bound(hits(tones, channels), tones, channels).tolist() == [1.0]
    rise = noise_rise(tones, (43.0, 43.0), channels, -150.0, (0.0,))
    assert rise is not None
    assert rise.interference_dbm == pytest.approx(-107 + 10 * math.log10(2))  # 2 f1 - f2 as in the test, noise-like


def test_the_way_between_ports_weakens_what_another_radio_hears() -> None:
    power = (43.0,) * len(TONES)
    near = noise_rise(TONES, power, CHANNELS, -153.0, (0.0,) * 4)
    far = noise_rise(TONES, power, CHANNELS, -153.0, (20.0,) * 4)
    assert near is not None
    assert far is not None
    assert near.interference_dbm - far.interference_dbm == pytest.approx(20.0)
    inputs = pim.inputs(LINE, SITE, scenarios_of(SITE))
    assert inputs.owner[0] == ("A1", "A1", "A2")
    assert inputs.isolation_db[0] == (0.0, 0.0, 20.0)
    assert inputs.owner[2] == ("A3",)


def test_the_channel_that_suffers_most_is_the_one_shown() -> None:
    power = (43.0,) * len(TONES)
    whole = noise_rise(TONES, power, CHANNELS, -153.0, (0.0,) * 4)
    alone = [noise_rise(TONES, power, (one,), -153.0, (0.0,)) for one in CHANNELS]
    rises = [one.rise_db if one else 0.0 for one in alone]
    assert whole is not None
    assert whole.rise_db == pytest.approx(max(rises))
    assert whole.receive == int(np.argmax(rises))


def test_products_across_radios_are_those_that_none_makes_alone() -> None:
    inputs = pim.inputs(LINE, SITE, scenarios_of(SITE))
    tones, channels = inputs.sector_tones[0], inputs.sector_channels[0]
    listening = [one for one in channels if one.tdd_hz == (0, 0)]
    every = tried(tones, tuple(listening), (3, 5, 7))
    turns = tuple(one for one in channels if one.tdd_hz != (0, 0))
    every |= {c for c in tried(tones, turns, (3, 5, 7)) if not c[tones.index(tone(3450, 100, (3300, 3800)))]}
    members = [set(own) for own in inputs.sector_sets[0]]
    across = {c for c in every if not any({n for n, k in enumerate(c) if k} <= own for own in members)}
    found = find(prove(), "pim.sector@A")
    assert found.value == len(across) > 0
    assert "lowest order 3" in found.note
    assert found.items == ("A1", "A2", "A3")


def test_a_lone_radio_mixes_with_nobody() -> None:
    radios = (SITE.radios[0], *(r.model_copy(update={"carriers": ()}) for r in SITE.radios[1:]))
    assert not any(f.code == "pim.sector" for f in prove(site=SITE.model_copy(update={"radios": radios})).figures)


def test_products_with_a_neighbour_all_have_a_carrier_of_it() -> None:
    site = make.site(TEXT + NEIGHBOUR)
    inputs = pim.inputs(LINE, site, scenarios_of(site))
    every, found = pim.with_neighbour(inputs, 0, 0)
    at = every.index(tone(1835, 20))
    assert found.coefficients[:, at].all()
    shown = find(prove(site=site), "pim.neighbour@A-N1")
    assert shown.value == found.distinct() > 0
    assert "with other operator" in shown.note
    assert "lowest order 3" in shown.note
    # 2 x 1815 - 1835 = 1795 MHz, 40 MHz wide, stays above 1765; 2 x 1815 - 1855 needs nobody else
    assert "2x1815.0 - 1855.0" not in shown.note
    assert not any(f.code == "pim.neighbour" for f in prove().figures)


def test_a_carrier_that_both_have_is_not_the_neighbours() -> None:
    same = NEIGHBOUR.replace("1835, width_mhz: 20", "1815, width_mhz: 10")
    assert find(prove(site=make.site(TEXT + same)), "pim.neighbour@A-N1").value == 0


def test_the_verdict_turns_at_the_limit() -> None:
    limits, code = limits_of(SITE), "pim.noise-rise"
    value = find(prove(), f"{code}@A1").value

    def at(limit: float) -> Verdict:
        table = {**limits.table, code: replace(limits.table[code], value=limit)}
        verdict: Verdict = find(prove(limits=Limits(table)), f"{code}@A1").verdict
        return verdict

    assert at(value) is Verdict.PASSES
    assert at(value - 1e-4) is Verdict.FAILS
    assert find(prove(limits=Limits({})), f"{code}@A1").verdict is Verdict.NOT_JUDGED


def formulas(steps: tuple[Any, ...]) -> list[FormulaStep]:
    checks = [c for s in steps if isinstance(s, SolvedStep) for c in s.checks]
    return checks + [s for s in steps if isinstance(s, FormulaStep)]


@pytest.mark.parametrize("power", [20, 80])
@pytest.mark.parametrize("more", ["", ", {centre_mhz: 2140, width_mhz: 20, power_w: 40, band: B1}"])
def test_every_working_holds_and_ends_in_the_value(power: int, more: str) -> None:
    text = TEXT.replace("power_w: 20, band: B3}]", f"power_w: {power}, band: B3}}{more}]")
    site = make.site(text + NEIGHBOUR)
    limits, seen = limits_of(site), pim.inputs(LINE, site, scenarios_of(site))
    result = pim.check(seen, limits)
    for found in result.findings:
        steps = formulas(pim.working(seen, limits, found))
        assert all(step.holds() for step in steps), found.key
        assert steps[-1].result.value == found.value
    assert len(formulas(pim.working(seen, limits, find(result, "pim.noise-rise@A1")))) >= 10
    for figure in result.figures:
        assert pim.working(seen, limits, figure)


def test_an_edit_changes_the_digest_and_nothing_else_does() -> None:
    def key(line: Line = LINE, site: Site = SITE) -> str:
        return digest(pim.inputs(line, site, scenarios_of(site)))

    radios = (SITE.radios[0].model_copy(update={"carriers": SITE.radios[0].carriers[:1]}), *SITE.radios[1:])
    edits = {
        key(),
        key(site=SITE.model_copy(update={"radios": radios})),
        key(with_part(LINE, "antenna-12", pim_dbc=-150.0)),
        key(site=make.site(TEXT + NEIGHBOUR)),
    }
    assert len(edits) == 4
    longer = tuple(replace(i, length_m=3.0) if i.id == "A1-J1" else i for i in LINE.items)
    assert key(replace(LINE, items=longer)) == key() == key(make.line(SITE))


@pytest.mark.parametrize(
    ("vector", "words"),
    [
        ((2, -1, 0), "2x1815.0 - 1855.0 = 1775.0 MHz"),
        ((-1, 0, 2), "2x2140.0 - 1815.0 = 2465.0 MHz"),
        ((-1, 1, 1), "1855.0 + 2140.0 - 1815.0 = 2180.0 MHz"),
    ],
)
def test_a_product_as_the_trade_writes_it(vector: tuple[int, ...], words: str) -> None:
    assert trade_text(vector, (tone(1815), tone(1855), tone(2140))) == words

"""An input that the site's file does not give is called a default of ours, never something that a person declared."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from upmast.line.line import Line
from upmast.plan.cost import cost_of, working
from upmast.proof.prove import prove
from upmast.site.origin import given, told
from upmast.site.site import Climate, Policy, Site
from upmast.source import Origin, Source
from upmast.working import ChoiceStep, FormulaStep, LookupStep, Quantity, SolvedStep, Step


def quantities(steps: Iterable[Step]) -> Iterator[Quantity]:
    for step in steps:
        if isinstance(step, FormulaStep):
            yield from (step.result, *step.inputs)
        elif isinstance(step, LookupStep):
            yield step.result
        elif isinstance(step, SolvedStep):
            yield from step.results
            yield from quantities(step.checks)


def climate(site: Site, line: Line, key: str) -> dict[str, Quantity]:
    proof = prove(site, line)
    found = proof.find(key)
    return {q.symbol: q for q in quantities(proof.working(found)) if q.symbol in ("G", "T_a")}


KEYS = ("power.voltage-at-radio@C2", "rf.loss@C2-J3", "weather.sheath-temperature@T1")


def keys(site: Site, line: Line) -> list[str]:
    proof = prove(site, line)
    codes = [key.partition("@")[0] for key in KEYS]
    return [next(f.key for f in (*proof.findings, *proof.figures) if f.code == code) for code in codes]


def test_a_value_that_the_site_gives_is_declared(demo_site: Site, demo_line: Line) -> None:
    for key in keys(demo_site, demo_line):
        got = climate(demo_site, demo_line, key)
        assert {q.origin for q in got.values()} == {Origin.DECLARED}, key
        assert got["T_a"].source.clause == "climate.hot_c"
        assert got["T_a"].value == demo_site.climate.hot_c + 273.15


def test_a_value_that_the_site_does_not_give_is_a_default_and_says_so(demo_site: Site, demo_line: Line) -> None:
    silent = demo_site.model_copy(update={"climate": Climate(ice="G2")})
    for key in keys(silent, demo_line):
        got = climate(silent, demo_line, key)
        assert {q.origin for q in got.values()} == {Origin.DEFAULT}, key
        assert "gives no climate.sun_w_per_m2" in str(got["G"].source)
        assert str(got["G"].source).endswith("[practice]")


def test_a_whole_section_left_out_is_all_defaults(demo_site: Site, demo_line: Line) -> None:
    silent = Site.model_validate(demo_site.model_dump(exclude={"climate", "policy"}, exclude_unset=True))
    assert given(silent, "climate.hot_c") is False
    assert given(silent, "policy") is False
    assert given(silent, "policy.discount_fraction") is False
    got = climate(silent, demo_line, keys(silent, demo_line)[0])
    assert {q.origin for q in got.values()} == {Origin.DEFAULT}


def test_there_is_no_answer_for_a_field_that_does_not_exist(demo_site: Site) -> None:
    assert given(demo_site, "climate.hot") is None
    assert given(demo_site, "id.length") is None
    assert given(demo_site, "climate.hot_c") is True


def test_values_of_other_documents_are_left_alone(demo_site: Site) -> None:
    silent = demo_site.model_copy(update={"climate": Climate()})
    other = Quantity("x", 1.0, "m", "length", Origin.DECLARED, Source("line.yaml", "climate.hot_c"))
    listed = Quantity("y", 1.0, "m", "length", Origin.LISTED, Source(f"site {silent.id}", "climate.hot_c"))
    choice = ChoiceStep("one", "of two")
    look = LookupStep(other, "table", "key")
    step = LookupStep(listed, "table", "key")
    assert told(silent, (look, step, choice)) == (look, step, choice)


def test_the_life_cost_tells_defaults_from_what_the_owner_gave(demo_site: Site, demo_line: Line) -> None:
    site = demo_site.model_copy(update={"policy": Policy(price_cost_per_kwh=0.3)})
    cost = cost_of(site, demo_line, 100.0)
    origin = {q.symbol: q.origin for q in quantities(working(site, cost))}
    assert origin["p"] is Origin.DECLARED
    assert origin["r"] is origin["eta"] is origin["i"] is origin["N"] is Origin.DEFAULT


def test_a_way_made_from_heights_is_not_called_declared(demo_site: Site, demo_line: Line) -> None:
    proof = prove(demo_site, demo_line)
    radios = {radio.id: radio for radio in demo_site.radios}
    seen = set()
    for found in proof.findings:
        if found.code != "support.reach":
            continue
        for q in quantities(proof.working(found)):
            if q.symbol.startswith(("L_run", "L_rf")):
                field = "box_run_m" if q.symbol.startswith("L_run") else "rf_run_m"
                radio = next(r for r in radios.values() if f" {r.id}" in q.meaning)
                typed = getattr(radio, field) is not None
                assert q.origin is (Origin.DECLARED if typed else Origin.DEFAULT), (found.key, q)
                seen.add(typed)
    assert seen == {True, False}

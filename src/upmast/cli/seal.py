"""`upmast seal`: may a joint be closed now, and what does a humidity card say?"""

from __future__ import annotations

import json
import math
import re

import typer

from upmast.cli.folder import JsonOption

CAUTION = (
    "Seal only dry, torqued and tested joints; a joint that is opened again gets a new seal. 3 K is coating practice, no limit for joints. "
    "Hot air and solvent on the mast: fire and fume. This is no word on whether work at height may begin."
)


OUTDOORS_C = (-60.0, 70.0)  # air and metal beside a joint
LEAST_PERCENT = 1.0  # of relative humidity that an instrument reads outdoors


def register(app: typer.Typer) -> None:
    @app.command("seal")
    def seal(
        surface: float | None = typer.Option(
            None, "--surface", help="Temperature of the metal, °C, once the cleaner has dried."
        ),
        air: float | None = typer.Option(None, "--air", help="Air beside the joint, °C."),
        humidity: float | None = typer.Option(None, "--humidity", help="Relative humidity of the air, %."),
        wet: bool | None = typer.Option(None, "--wet/--dry", help="Whether the joint is wet or icy."),
        dusty: bool | None = typer.Option(None, "--dusty/--clean", help="Whether it is dusty."),
        spots: str = typer.Option("", "--spots", help="Humidity card: its spots in %, e.g. 10,20,30,40,50,60."),
        changed: str = typer.Option(
            "", "--changed", help="Humidity card: the spots that changed colour, e.g. 10,20; none for none."
        ),
        coldest: float | None = typer.Option(
            None, "--coldest", help="Humidity card: coldest day that the box will see, °C."
        ),
        as_json: bool = JsonOption,
    ) -> None:
        """Say whether a joint may be sealed now, or what a humidity card in a box means; exit code 0 seal, 1 wait, 3 not judged."""
        from upmast.cli.show import console
        from upmast.errors import UsageError

        out = console()
        if spots:
            card = _card(spots, changed, air, coldest)
            if as_json:
                typer.echo(json.dumps(card, ensure_ascii=False, indent=1))
            else:
                out.print(f"{card['words']}", style="bold")
            raise typer.Exit(0 if card["fine"] else 3 if card["verdict"] == "invalid" else 1)
        from upmast.weather.moist_air import SEAL_MARGIN_K
        from upmast.weather.seal_now import seal_now

        _in_range("--surface", surface, *OUTDOORS_C, "°C: is it in °F?")
        _in_range("--air", air, *OUTDOORS_C, "°C: is it in °F?")
        share = humidity is not None and 0 < humidity < LEAST_PERCENT
        _in_range(
            "--humidity", humidity, LEAST_PERCENT, 100.0,
            f"%: outdoor air is never drier; for a share of 1 write {100 * (humidity or 0):g}" if share else "%: check the instrument",
        )  # fmt: skip
        try:
            found = seal_now(surface, air, humidity, wet_or_icy=wet, dusty=dusty)
        except ValueError as reason:
            raise UsageError(str(reason)) from reason
        verdict = str(found.verdict)
        if as_json:
            data = {
                "verdict": verdict, "reasons": [_degrees(why) for why in found.reasons],
                "condensation_c": None if math.isnan(found.condensation_c) else round(found.condensation_c, 3),
                "above_condensation_k": None if math.isnan(found.margin_k) else round(found.margin_k + SEAL_MARGIN_K, 3), "asked_k": SEAL_MARGIN_K,
                "caution": CAUTION,
            }  # fmt: skip
            typer.echo(json.dumps(data, ensure_ascii=False, indent=1))
        else:
            out.print(verdict, style="bold")
            for why in found.reasons:
                out.print(f"  {_degrees(why)}")
            out.print(f"  {CAUTION}", style="dim")
        raise typer.Exit({"seal": 0, "not judged": 3}.get(verdict, 1))


def _degrees(words: str) -> str:
    return re.sub(r"(?<=\d) C\b", " °C", words)


def _in_range(option: str, value: float | None, low: float, high: float, words: str) -> None:
    from upmast.errors import UsageError

    if value is not None and not low <= value <= high:
        raise UsageError(f"{option} {value:g} is outside {low:g} to {high:g} {words}")


def _card(spots: str, changed: str, air: float | None, coldest: float | None) -> dict[str, object]:
    from upmast.errors import UsageError
    from upmast.weather.indicator import CardVerdict, read_card

    if air is None or coldest is None:
        raise UsageError("a card is read with its temperature and the coldest day: --air and --coldest")
    try:
        levels = [float(x) for x in spots.split(",") if x.strip()]
        told = set() if changed.strip().lower() in ("", "none") else {float(x) for x in changed.split(",") if x.strip()}
    except ValueError as reason:
        raise UsageError("spots are numbers in % with commas between: --spots 10,20,30 --changed 10") from reason
    if not told <= set(levels):
        raise UsageError(f"no spot of {', '.join(f'{x:g}' for x in sorted(told - set(levels)))} % on this card")
    try:
        found = read_card(levels, [x in told for x in levels], air, coldest)
    except ValueError as reason:
        raise UsageError(str(reason)) from reason
    low, high = found.low_percent, found.high_percent
    words = str(found.verdict)
    if found.verdict is not CardVerdict.INVALID:
        words += f": {low:g} to {high:g} % at {air:g} °C; cards read within 5 % and drift with temperature (practice)"
    return {
        "verdict": "invalid" if found.verdict is CardVerdict.INVALID else str(found.verdict),
        "words": words,
        "fine": found.verdict is CardVerdict.DRY,
    }


__all__ = ["register"]

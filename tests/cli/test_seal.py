"""`upmast seal`: the verdict by the handbook's dew point, what cannot be a reading, and the humidity card."""

from __future__ import annotations

import json

import pytest

from upmast.cli.run import BAD_INPUT, run

DRY = ["--dry", "--clean"]


def test_the_handbook_case(capsys: pytest.CaptureFixture[str]) -> None:
    """25 °C and 60 % have their dew point at 16.69 °C (WMO-No. 8, by two tables of the handbook)."""
    asked = ["seal", "--air", "25", "--humidity", "60", *DRY]
    assert run([*asked, "--surface", "18"]) == 1
    assert "16.7" in capsys.readouterr().out
    assert run([*asked, "--surface", "22"]) == 0
    capsys.readouterr()
    assert run([*asked, "--surface", "22", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["above_condensation_k"] == pytest.approx(22 - 16.69, abs=0.01)
    assert data["asked_k"] == 3.0
    assert "no word on whether work at height may begin" in data["caution"]


def test_what_was_not_measured_is_not_judged(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["seal", "--air", "25", "--humidity", "60", "--surface", "22"]) == 3
    assert "look whether the joint is" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("option", "value", "words"),
    [
        ("--humidity", "0", "check the instrument"),
        ("--humidity", "130", "outside 1 to 100 %"),
        ("--air", "77", "is it in °F?"),
        ("--surface", "-80", "outside -60 to 70 °C"),
        ("--air", "nan", "outside -60 to 70 °C"),
    ],
)
def test_what_cannot_be_a_reading_is_refused(
    option: str, value: str, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    values = {"--surface": "40", "--air": "25", "--humidity": "10"} | {option: value}
    assert run(["seal", *(x for pair in values.items() for x in pair), *DRY]) == BAD_INPUT
    assert words in capsys.readouterr().err


def test_a_humidity_card(capsys: pytest.CaptureFixture[str]) -> None:
    spots = ["seal", "--spots", "10,20,30,40", "--air", "20", "--coldest", "-15"]
    assert run([*spots, "--changed", "10"]) in (0, 1)
    assert "10 to 20 % at 20 °C" in capsys.readouterr().out.replace("\n", " ")
    assert run([*spots, "--changed", "50"]) == BAD_INPUT
    assert "no spot of 50 %" in capsys.readouterr().err


def test_a_share_is_told_from_a_percentage(upmast):
    asked = ("seal", "--surface", "20", "--air", "20", "--humidity")
    assert "write 60" in upmast(*asked, "0.6").words
    assert "write" not in upmast(*asked, "600").words

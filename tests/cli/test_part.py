"""`upmast part`: parts as text for parts.yaml, from the catalogue and from measurements."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from upmast import yamlfile
from upmast.catalogue.catalogue import from_text, standard
from upmast.catalogue.part import AntennaPart, RfInline
from upmast.cli.run import BAD_INPUT, run

F = np.linspace(690e6, 970e6, 401)


def written(folder: Path, name: str, s11: np.ndarray, s21: np.ndarray | None = None) -> Path:
    lines = ["! invented", "# MHz S RI R 50"]
    for n, f in enumerate(F):
        pairs = [s11[n]] if s21 is None else [s11[n], s21[n], s21[n], s11[n]]
        lines.append(f"{f / 1e6:.6f} " + " ".join(f"{p.real:.9f} {p.imag:.9f}" for p in pairs))
    path = folder / name
    path.write_text("\n".join(lines) + "\n")
    return path


def parts_of(text: str, tmp_path: Path, *more: str) -> dict[str, object]:
    """What a parts.yaml with those rows, and some of the catalogue, holds."""
    file = tmp_path / "parts.yaml"
    file.write_text("parts:\n" + text + "".join(more))
    return {part.id: part for part in from_text(yamlfile.read(file))}


def test_a_part_of_the_catalogue_comes_with_its_connectors(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert run(["part", "rf-jumper-12-43-n"]) == 0
    found = parts_of(capsys.readouterr().out, tmp_path)
    assert set(found) == {"rf-jumper-12-43-n", "4.3-10-plug", "n-plug"}
    assert found["n-plug"] == standard().part("n-plug")


def test_a_measured_two_port_is_never_better_than_measured(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    s11 = (0.05 + 0.03 * np.cos(F / 7e6)).astype(complex)
    s21 = 0.95 * np.exp(-2j * np.pi * F * 1e-8)
    file = written(tmp_path, "filter.s2p", s11, s21)
    assert run(["part", "my-filter", "--like", "filter-43-low", "--measured", str(file)]) == 0
    text = capsys.readouterr().out
    run(["part", "4.3-10-jack"])
    found = parts_of(text, tmp_path, capsys.readouterr().out)["my-filter"]
    assert isinstance(found, RfInline)
    rows = np.array(found.measured)
    assert len(rows) == 101
    assert rows[:, 1].min() == pytest.approx(-20 * np.log10(0.08), abs=0.02)
    assert rows[:, 4].max() == pytest.approx(-20 * np.log10(0.95), abs=1e-3)
    assert found.source_of("measured").document.startswith("filter.s2p, SHA-256 ")


def test_a_measured_antenna_port(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = written(tmp_path, "r1.s1p", np.full(F.size, 0.1 + 0j))
    assert run(["part", "mine", "--like", "antenna-4", "--port", "R1", "--measured", str(file)]) == 0
    text = capsys.readouterr().out
    more = []
    for id in ("4.3-10-jack", "tilt-8-plug"):
        run(["part", id])
        more.append(capsys.readouterr().out)
    found = parts_of(text, tmp_path, *more)["mine"]
    assert isinstance(found, AntennaPart)
    assert set(found.measured) == {"R1"}
    assert found.measured["R1"][0] == (690e6, 20.0)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["none-such"], "no part 'none-such'"),
        (["mine", "--like", "antenna-4", "--measured", "{}/r1.s1p"], "say which port was measured"),
        (["mine", "--like", "rf-jumper-12-43-43", "--measured", "{}/r1.s1p"], "is no antenna and no two-port"),
        (["mine", "--like", "filter-43-low", "--measured", "{}/r1.s1p"], "measure the part through"),
        (
            ["mine", "--like", "filter-43-low", "--measured", "{}/gain.s2p"],
            "gain.s2p amplifies: 6.0 dB from port to port",
        ),
        (["-x y!", "--like", "antenna-4", "--port", "R1", "--measured", "{}/r1.s1p"], ""),
    ],
)
def test_what_cannot_be_made_is_said(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    written(tmp_path, "r1.s1p", np.full(F.size, 0.1 + 0j))
    written(tmp_path, "gain.s2p", np.full(F.size, 0.1 + 0j), np.full(F.size, 2.0 + 0j))
    assert run(["part", *(a.format(tmp_path) for a in arguments)]) == BAD_INPUT
    assert words in capsys.readouterr().err

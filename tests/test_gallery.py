"""The gallery: every script runs, is short and quick to start, and what it tells holds."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parent.parent
SCRIPTS = sorted((ROOT / "docs" / "gallery").glob("*.py"))


def script(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"gallery_{name}", ROOT / "docs" / "gallery" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def told(name: str, capsys: pytest.CaptureFixture[str]) -> str:
    script(name).main()
    return capsys.readouterr().out


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.stem)
def test_a_script_is_short_and_the_gallery_names_it(path: Path) -> None:
    text = path.read_text("utf-8")
    assert len(text.splitlines()) < 60
    assert text.startswith('"""\n')
    assert f"(gallery/{path.name})" in (ROOT / "docs" / "gallery.md").read_text("utf-8")


def test_there_is_a_test_for_every_script() -> None:
    assert {path.stem for path in SCRIPTS} == {name.removeprefix("test_") for name in globals() if name[5:] in STEMS}


def test_one_feeder(capsys: pytest.CaptureFixture[str]) -> None:
    text = told("one_feeder", capsys)
    volts = re.findall(r"(?:closed form|load flow) +(\S+) V", text)
    assert len(volts) == 2
    assert volts[0] == volts[1]


def test_why_48_is_wrong(capsys: pytest.CaptureFixture[str]) -> None:
    rows = told("why_48_is_wrong", capsys).splitlines()[1:]
    sections = [float(found.group(1)) for row in rows if (found := re.search(r"([\d.]+) mm²", row))]
    assert len(sections) == 5
    assert max(sections) == sections[-1]
    assert all("short" in row or "never starts" in row for row in rows[:-1])
    assert "short" not in rows[-1]


def test_a_whole_site(capsys: pytest.CaptureFixture[str]) -> None:
    text = told("a_whole_site", capsys)
    assert "NESS-PT, line revision 1: fails" in text
    assert re.search(r"worst: [a-z.-]+@[A-Z0-9-]+ fails", text)
    assert "solved:" in text


def test_jumper_reflection(capsys: pytest.CaptureFixture[str]) -> None:
    text = told("jumper_reflection", capsys)
    worst = float(re.search(r"against us: ([\d.]+) dB", text).group(1))  # type: ignore[union-attr]
    shares = [float(x) for x in re.findall(r"one frequency: ([\d.]+) dB", text)]
    assert shares == sorted(shares, reverse=True)
    assert all(worst < x for x in shares)


def test_own_uplink(capsys: pytest.CaptureFixture[str]) -> None:
    first, second = told("own_uplink", capsys).split("moved together")
    assert "order 3: 2 f1 - f2 = 1767.5 MHz" in first
    assert ", 0 hit(s)" in second


def test_name_the_joint(capsys: pytest.CaptureFixture[str]) -> None:
    text = told("name_the_joint", capsys)
    assert "as C2-J3.rl.load: fails" in text
    assert "Open first: C2-J3.head/C-ANT.Y3" in text


def test_name_the_joint_takes_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    module = script("name_the_joint")
    (tmp_path / "measured.s1p").write_bytes(b"# Hz S RI R 50\n1e9 0.1 0\n2e9 0.1 0\n")
    module.main([str(tmp_path / "measured.s1p")])
    assert "measured.s1p" in capsys.readouterr().out


STEMS = {path.stem for path in SCRIPTS}


def test_dc_power(capsys: pytest.CaptureFixture[str]) -> None:
    text = told("dc_power", capsys)
    assert "an invented site" in text
    assert re.search(r"^C2 drops out first, at a bus voltage of \d\d\.\d\d V; \d+ min on battery", text, re.M)
    sizes = [float(x) for x in re.findall(r"^ +([\d.]+) mm²: (?:least|no operating)", text, re.M)]
    margins = [float(x) for x in re.findall(r"least margin ([+-][\d.]+) V", text)]
    assert len(sizes) >= 3
    assert sizes == sorted(sizes)
    assert margins == sorted(margins)  # each size up keeps more
    assert len(re.findall(r"power-[a-z-]+\.svg: ", text)) == 8
    assert len(text.splitlines()) <= 25


def test_wrong_plug(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    script("wrong_plug").main([str(tmp_path)])
    text = capsys.readouterr().out
    assert "All 9 links end where they are meant to" in text
    assert "3 of 9 links end at a wrong port: B1-L1, C1-L1, A2-L1." in text
    assert re.search(r"Most likely: exchange .*T1\.head\.f3.*then 2 directions are still wrong", text)
    assert re.search(r"exchange the two halves of the plug between .*then all light is right", text)
    made = {path.name for path in tmp_path.iterdir()}
    assert made == set(re.findall(r"fibre-[a-z0-9-]+\.svg", text))
    assert len(made) == 7
    assert all(path.read_text("utf-8").lstrip().startswith("<svg") for path in tmp_path.iterdir())


def test_jumper_length(capsys: pytest.CaptureFixture[str]) -> None:
    text = told("jumper_length", capsys)
    # own derivation, computed once more: 880 to 915 MHz with 5 mm and 1 %
    assert "uplink of B8         1.49 m, 0.93 m, 0.50 m" in text
    short, long = text.split("from 2 to 4 m")
    assert "0.623 m gains 2.3 dB at the jumper and 0.5 dB at the radio port" in short
    assert long.count("no length from the shortest way on gains anything in every band") == 5
    assert float(re.search(r"by more than ([\d.]+) dB", long).group(1)) <= 0.05  # type: ignore[union-attr]


def test_carrier_plan(capsys: pytest.CaptureFixture[str]) -> None:
    text = told("carrier_plan", capsys)
    # 2 x 1815 - 1862.5 = 1767.5 MHz: the uplink of 1862.5 MHz, 95 MHz below it (3GPP TS 36.101, band 3)
    assert "2 f1 - f2 lies in the uplink 1762.5 to 1772.5 MHz" in text
    assert "joint at the antenna   -130 dBc" in text
    assert "no product is left in a receive channel" in text
    assert re.search(r"joint at the antenna .* brings 9\.\d dB", text)


def test_clamps_and_wind(capsys: pytest.CaptureFixture[str]) -> None:
    text = told("clamps_and_wind", capsys)
    # vb 26 m/s, terrain II, 30 m: 1307.1 Pa; 49 mm: 76.86 N/m; 60 N at the middle of two spans: 60 / (1.25 x 76.86)
    assert "1307 Pa at 30 m: 76.9 N/m bare, 62.8 N/m with glaze G2" in text
    assert "2 spans: end factor 1.25, slip 4.47 m, side 0.62 m: side governs, 0.62 m" in text
    assert "crush allows 2.02" in text  # 3000 N x 0.6 x 0.2 less 30 % x 8 mm
    assert "EN 1991-1-4, vb 26 m/s" in text
    assert "ANSI/TIA-222, V 39 m/s as a three-second gust" in text
    assert text.rstrip().endswith("no action")


def test_stroke_share(capsys: pytest.CaptureFixture[str]) -> None:
    text = told("stroke_share", capsys)
    first, second = text.split("The top bond missing")
    fronts = [[float(x) for x in row] for row in re.findall(r"outer ([\d.]+) %, middle ([\d.]+) % on the front", first)]
    assert len(fronts) == 3
    assert all(middle < outer for outer, middle in fronts)
    assert fronts == sorted(fronts, reverse=True)  # the farther inside, the less
    # three legs of 0.3 and three shields of 17.241 / 6 mohm/m: (6 / 17.241) / (3 / 0.3 + 18 / 17.241)
    assert "tail 3.2 %" in first
    volts = [[float(x) for x in row] for row in re.findall(r"peaks at (\d+) to (\d+) V, margin ([+-]\d+) V", first)]
    assert all(low < high and margin == 1500 - high for low, high, margin in volts)
    kilovolts = [[float(x) for x in row] for row in re.findall(r"(\d+), (\d+), (\d+) kV", second)]
    assert all(positive < negative < subsequent for positive, negative, subsequent in kilovolts)

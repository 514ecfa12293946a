"""Our Touchstone reader against the specification's own examples, against scikit-rf, and against damaged files."""

from __future__ import annotations

import hashlib
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import skrf
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from upmast.errors import Fault, InputFaults
from upmast.field.measurement import Evidence, Sweep, TwoPort
from upmast.field.readers import touchstone_head, touchstone_rows
from upmast.field.readers.content_kind import TOUCHSTONE, content_kind
from upmast.field.readers.touchstone import read_file, read_sweep, read_two_port

SAMPLES = Path(__file__).parent.parent / "measurements"
SKRF_DATA = Path(skrf.__file__).parent / "data"


def polar(size: float, degrees: float) -> complex:
    return complex(size * np.exp(1j * np.deg2rad(degrees)))


# --- the examples of IBIS Open Forum, Touchstone File Format Specification 1.1 and 2.0 ---------------------------------


def test_specification_2_0_examples_9_and_10_are_one_network_normalised_and_not() -> None:
    v1 = read_file(SAMPLES / "specification-example-9.s1p")
    v2 = read_file(SAMPLES / "specification-example-10.s1p")
    z = np.array([polar(74.25, -4), polar(60, -22), polar(53.025, -45), polar(30, -62), polar(0.75, -89)])
    assert v1.frequency_hz.tolist() == [1e8, 2e8, 3e8, 4e8, 5e8]
    np.testing.assert_allclose(v1.gamma, (z - 50) / (z + 50), rtol=1e-12)
    np.testing.assert_allclose(v2.gamma, v1.gamma, rtol=1e-12)
    assert (v1.reference_ohm, v2.reference_ohm) == (75.0, 20.0)
    assert v1.mended == ("referred from 75 ohm to 50 ohm",)


def test_specification_2_0_example_1_single_point() -> None:
    sweep = read_sweep(b"# MHz S MA R 50\n!freq magS11 angS11\n2.000 0.894 -12.136\n", "a.s1p")
    assert sweep.frequency_hz.tolist() == [2e6]
    assert sweep.gamma[0] == pytest.approx(polar(0.894, -12.136), abs=1e-15)
    assert sweep.comments == ("freq magS11 angS11",)


def test_specification_2_0_examples_11_and_12_hybrid() -> None:
    row = b"2 .95 -26 3.57 157 .04 76 .66 -14\n"
    v1 = read_two_port(b"# KHz H MA R 1\n" + row, "a.s2p")
    head = (
        b"[Version] 2.0\n# KHz H MA R 1\n[Number of Ports] 2\n[Two-Port Data Order] 21_12\n[Number of Frequencies] 1\n"
    )
    v2 = read_two_port(head + b"[Network Data]\n" + row + b"[End]\n", "b.s2p")
    h = np.array([[[polar(0.95, -26), polar(0.04, 76)], [polar(3.57, 157), polar(0.66, -14)]]])
    np.testing.assert_allclose(v1.s, skrf.network.h2s(h, z0=50.0), rtol=1e-10)
    np.testing.assert_allclose(v2.s, v1.s, rtol=1e-12)


def test_specification_2_0_example_13_real_and_imaginary() -> None:
    part = read_file_two("specification-example-13.s2p")
    assert part.frequency_hz.tolist() == [1e9, 2e9, 10e9]
    assert part.s[0].tolist() == [
        [0.3926 - 0.1211j, -0.0003 - 0.0021j],
        [-0.0003 - 0.0021j, 0.3926 - 0.1211j],
    ]
    assert part.s[2, 1, 1] == 0.3419 + 0.3336j


def test_specification_1_1_example_8_keeps_noise_apart() -> None:
    part = read_file_two("specification-1.1-example-8.s2p")
    assert part.frequency_hz.tolist() == [2e9, 22e9]
    assert part.s[0, 1, 0] == pytest.approx(polar(3.57, 157))
    assert part.s[0, 0, 1] == pytest.approx(polar(0.04, 76))
    assert part.noise.tolist() == [[4e9, 0.7, 0.64, 69, 0.38], [18e9, 2.7, 0.46, -33, 0.40]]
    assert part.mended == ("2 rows of noise data from line 6 on, kept apart",)


def read_file_two(name: str) -> TwoPort:
    return read_two_port((SAMPLES / name).read_bytes(), name)


# --- scikit-rf ---------------------------------------------------------------------------------------------------------


def reference(path: Path) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        network = skrf.Network(str(path))
        if not np.allclose(network.z0, 50.0):
            network.renormalize(50.0)
    return network


@pytest.mark.parametrize("path", sorted(SKRF_DATA.glob("*.s1p")), ids=lambda p: p.name)
def test_one_port_files_of_scikit_rf(path: Path) -> None:
    ours, theirs = read_file(path), reference(path)
    np.testing.assert_allclose(ours.frequency_hz, theirs.f, rtol=1e-12)
    np.testing.assert_allclose(ours.magnitude, np.abs(theirs.s[:, 0, 0]), rtol=1e-9, atol=1e-12)
    if not ours.magnitude_only:
        np.testing.assert_allclose(ours.gamma, theirs.s[:, 0, 0], rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("path", sorted(SKRF_DATA.glob("*.s2p")), ids=lambda p: p.name)
def test_two_port_files_of_scikit_rf(path: Path) -> None:
    ours, theirs = read_two_port(path.read_bytes(), path.name), reference(path)
    np.testing.assert_allclose(ours.frequency_hz, theirs.f, rtol=1e-12)
    np.testing.assert_allclose(ours.s, theirs.s, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(read_file(path).magnitude, np.abs(theirs.s[:, 0, 0]), rtol=1e-9, atol=1e-12)


def test_three_ports_are_refused() -> None:
    with pytest.raises(InputFaults):
        read_file(SKRF_DATA / "tee.s3p")


@pytest.mark.parametrize("form", ["ri", "ma", "db"])
@pytest.mark.parametrize("ports", [1, 2])
@pytest.mark.parametrize("z0", [50.0, 75.0])
def test_random_files_written_by_scikit_rf(tmp_path: Path, form: str, ports: int, z0: float) -> None:
    rng = np.random.default_rng(ports)
    s = rng.normal(size=(57, ports, ports)) * 0.3 + 1j * rng.normal(size=(57, ports, ports)) * 0.3
    network = skrf.Network(f=np.linspace(0.7e9, 2.7e9, 57), f_unit="hz", s=s, z0=z0)
    network.write_touchstone(f"w{ports}", dir=str(tmp_path), form=form)
    path = tmp_path / f"w{ports}.s{ports}p"
    network.renormalize(50.0)
    if ports == 1:
        np.testing.assert_allclose(read_file(path).gamma, network.s[:, 0, 0], atol=1e-9)
    else:
        np.testing.assert_allclose(read_two_port(path.read_bytes(), path.name).s, network.s, atol=1e-9)


@pytest.mark.parametrize("network", ["Z", "Y"])
@pytest.mark.parametrize("ports", [1, 2])
def test_impedance_and_admittance_against_scikit_rf(network: str, ports: int) -> None:
    rng = np.random.default_rng(3)
    m = rng.normal(size=(9, ports, ports)) + 2 * np.eye(ports) + 1j * rng.normal(size=(9, ports, ports))
    order = [(0, 0)] if ports == 1 else [(0, 0), (1, 0), (0, 1), (1, 1)]
    rows = "\n".join(
        f"{k + 1} " + " ".join(f"{m[k, a, b].real:.15g} {m[k, a, b].imag:.15g}" for a, b in order) for k in range(9)
    )
    data = f"# GHz {network} RI R 75\n{rows}\n".encode()
    want = skrf.network.z2s(m * 75, z0=50.0) if network == "Z" else skrf.network.y2s(m / 75, z0=50.0)
    if ports == 1:
        np.testing.assert_allclose(read_sweep(data, "a.s1p").gamma, want[:, 0, 0], rtol=1e-9)
    else:
        np.testing.assert_allclose(read_two_port(data, "a.s2p").s, want, rtol=1e-9)


def test_g_is_the_inverse_of_h() -> None:
    h = np.array([[1 + 0.2j, 0.3], [-0.8j, 0.5 + 0.1j]])
    g = np.linalg.inv(h)

    def row(m: Any) -> str:
        return "1 " + " ".join(f"{v.real:.15g} {v.imag:.15g}" for v in (m[0, 0], m[1, 0], m[0, 1], m[1, 1]))

    a = read_two_port(f"# GHz H RI R 50\n{row(h)}\n".encode(), "a.s2p")
    b = read_two_port(f"# GHz G RI R 50\n{row(g)}\n".encode(), "b.s2p")
    np.testing.assert_allclose(a.s, b.s, rtol=1e-12)


# --- what instruments really write ---------------------------------------------------------------------------------------

PLAIN = b"# MHz S RI R 50\n700 0.1 0.2\n701 0.1 -0.2\n702 -0.05 0.1\n"


def same(sweep: Sweep) -> None:
    np.testing.assert_allclose(sweep.frequency_hz, [700e6, 701e6, 702e6], rtol=1e-15)
    np.testing.assert_allclose(sweep.gamma, [0.1 + 0.2j, 0.1 - 0.2j, -0.05 + 0.1j], rtol=1e-12)
    assert not sweep.magnitude_only


@pytest.mark.parametrize(
    "data",
    [
        PLAIN,
        PLAIN.replace(b"\n", b"\r\n"),
        PLAIN.replace(b" ", b"\t"),
        PLAIN.replace(b"\n", b"\r"),
        PLAIN.rstrip(b"\n"),
        b"\n\n  " + PLAIN.replace(b"\n7", b"\n\n   7"),
        PLAIN.replace(b"# MHz S RI R 50", b"# r 50 ri s mhz"),
        PLAIN.replace(b"# MHz S RI R 50", b"#MHz S RI R50"),
        PLAIN.replace(b"# MHz S RI R 50", b"# MHZ RI"),
        PLAIN.replace(b"# MHz S RI R 50", b"   # MHz\tS RI  R 5.0e1 ! said here"),
        PLAIN.replace(b"0.2\n", b"0.2 ! hot day\n"),
        PLAIN.replace(b"\n701", b"\n! a word\n701"),
        PLAIN.replace(b"\n701", b"\n# GHz S MA R 75\n701"),
        b"! gr\xfc\xdfe \xb0C\n" + PLAIN,
        "! grüße °C\n".encode() + PLAIN,
        b"\xef\xbb\xbf" + PLAIN,
        PLAIN.decode().encode("utf-16"),
        PLAIN.replace(b"700 0.1", b"7.00E+02 1e-1"),
        PLAIN.replace(b"700 0.1", b"+700. +.1"),
        b"# kHz S RI R 50\n700000 0.1 0.2\n701000 0.1 -0.2\n702000 -0.05 0.1\n",
        b"[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 1\n[Number of Frequencies] 3\n[Reference]\n50\n"
        b"[Begin Information]\nanything 1 2 3\n[End Information]\n[Network Data]\n! here\n" + PLAIN[16:] + b"[End]\n",
        b"[version]2.0\n# MHz S RI\n[number of  ports]  1\n[Network Data]\n" + PLAIN[16:],
    ],
)
def test_all_these_are_the_same_sweep(data: bytes) -> None:
    sweep = read_sweep(data, "a.s1p")
    same(sweep)
    assert sweep.digest == hashlib.sha256(data).hexdigest()


def test_bare_option_line_means_ghz_s_ma_50() -> None:
    sweep = read_sweep(b"#\n1 0.5 90\n2 0.5 -90\n", "a.s1p")
    assert sweep.frequency_hz.tolist() == [1e9, 2e9]
    np.testing.assert_allclose(sweep.gamma, [0.5j, -0.5j], atol=1e-15)


def test_db_and_degrees() -> None:
    sweep = read_sweep(b"# GHz S DB R 50\n1 -20 90\n2 -6.0206 180\n", "a.s1p")
    np.testing.assert_allclose(sweep.gamma, [0.1j, -0.5], atol=1e-5)


def test_comments_are_kept_and_bounded() -> None:
    sweep = read_sweep(b"!one\n# Hz S RI R 50\n!two\n1 0 0.1 !three\n2 0 0.1\n" + b"! x\n" * 1000, "a.s1p")
    assert sweep.comments[:3] == ("one", "two", "three")
    assert len(sweep.comments) == touchstone_head.MOST_COMMENTS


def test_two_port_orders_of_version_2() -> None:
    head = b"[Version] 2.0\n# GHz S RI R 50\n[Number of Ports] 2\n[Two-Port Data Order] %s\n[Network Data]\n%s\n"
    a = read_two_port(head % (b"12_21", b"1 .11 0 .12 0 .21 0 .22 0"), "a.s2p")
    b = read_two_port(head % (b"21_12", b"1 .11 0 .21 0 .12 0 .22 0"), "b.s2p")
    assert a.s[0].real.tolist() == b.s[0].real.tolist() == [[0.11, 0.12], [0.21, 0.22]]
    lower = head.replace(b"[Network", b"[Matrix Format] Lower\n[Network") % (b"12_21", b"1 .11 0 .12 0 .22 0")
    assert read_two_port(lower, "c.s2p").s[0].real.tolist() == [[0.11, 0.12], [0.12, 0.22]]


def test_noise_data_of_version_2() -> None:
    data = (
        b"[Version] 2.0\n# GHz S RI R 50\n[Number of Ports] 2\n[Two-Port Data Order] 21_12\n[Number of Frequencies] 1\n"
        b"[Number of Noise Frequencies] 1\n[Network Data]\n1 .1 0 .2 0 .2 0 .1 0\n[Noise Data]\n1 0.5 0.3 20 0.4\n[End]\n"
    )
    assert read_two_port(data, "a.s2p").noise.tolist() == [[1e9, 0.5, 0.3, 20, 0.4]]


def test_magnitude_only_is_seen_and_its_phase_can_not_be_used() -> None:
    sweep = read_file(SAMPLES / "size-only.s1p")
    assert sweep.magnitude_only
    assert sweep.evidence is Evidence.B
    assert np.isnan(sweep.gamma).all()
    assert np.isfinite(sweep.return_loss_db).all()
    assert read_sweep(PLAIN, "a.s1p").evidence is Evidence.A


def test_magnitude_only_can_not_be_referred_to_50_ohm() -> None:
    with pytest.raises(InputFaults, match="export the sweep again with phase"):
        read_sweep(b"# GHz S MA R 75\n1 0.1 0\n2 0.2 0\n", "a.s1p")


def test_a_matched_75_ohm_load_is_20_db_in_50_ohm() -> None:
    """(75 - 50)/(75 + 50) = 0.2, return loss 13.98 dB."""
    sweep = read_sweep(b"# GHz S RI R 75\n1 0 0\n2 0 1e-9\n", "a.s1p")
    assert sweep.magnitude[0] == pytest.approx(0.2)


def test_repair_sorts_and_merges_and_says_so() -> None:
    data = b"# MHz S RI R 50\n702 -0.05 0.1\n700 0.1 0.2\n701 0.1 -0.2\n701 0.9 0.9\n"
    with pytest.raises(InputFaults) as caught:
        read_sweep(data, "a.s1p")
    assert [f.line for f in caught.value.faults] == [3, 5]
    sweep = read_sweep(data, "a.s1p", repair=True)
    same(sweep)
    assert sweep.mended == (
        "rows sorted by frequency (it fell 1 times)",
        "1 repeated frequencies: the first row of each is kept",
    )


def test_two_port_file_named_otherwise_is_told_by_its_columns() -> None:
    sweep = read_sweep(b"# GHz S RI R 50\n1 .1 .2 1 0 1 0 .1 .1\n2 .1 .3 1 0 1 0 .1 .1\n", "trace.txt")
    np.testing.assert_allclose(sweep.gamma, [0.1 + 0.2j, 0.1 + 0.3j])
    assert sweep.mended == ("two-port file: its reflection S11 is taken",)


# --- damaged files -------------------------------------------------------------------------------------------------------

HEAD = b"# MHz S RI R 50\n"
V2 = b"[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 1\n"
DAMAGED: list[tuple[str, bytes, int, str]] = [
    ("empty", b"", 0, "an empty file"),
    ("blank", b" \n\t\n\r\n", 0, "an empty file"),
    ("zero bytes", b"\x00\x01\x02PNG", 0, "zero bytes"),
    ("broken utf-16", b"\xff\xfe#\x00\x00\xd8", 1, "UTF-16"),
    ("comments only", b"! nothing\n", 1, "option line"),
    ("no option line", b"700 0.1 0.2\n", 1, "option line"),
    ("no rows", HEAD, 1, "no rows"),
    ("no rows but a comment", HEAD + b"! end\n", 2, "no rows"),
    ("unknown word in option line", b"# MHz S XY R 50\n700 0 0\n", 1, "XY"),
    ("R without ohms", b"# MHz S RI R\n700 0 0\n", 1, "R alone"),
    ("R of 0", b"# MHz S RI R 0\n700 0 0\n", 1, "resistance above 0"),
    ("R negative", b"# MHz S RI R -50\n700 0 0\n", 1, "resistance above 0"),
    ("two numbers", HEAD + b"700 0.1\n", 2, "size without phase"),
    ("four numbers", HEAD + b"700 0.1 0.2 0.3\n", 2, "4 numbers"),
    ("one long, one short row", HEAD + b"700 0.1\n701 0.1 0.2 702\n", 2, "2 numbers"),
    ("shifted rows", HEAD + b"700 0.1 0.2 701\n0.1 0.2\n", 2, "4 numbers"),
    ("two-port data", HEAD + b"700 1 2 3 4 5 6 7 8\n", 2, "name the file .s2p"),
    ("words", HEAD + b"700 0.1 0.2\nmarker one here\n", 3, "numbers only"),
    ("word in a row", HEAD + b"700 0.1 abc\n", 2, "abc"),
    ("underscore", HEAD + b"700 0.1 1_0\n", 2, "1_0"),
    ("two points", HEAD + b"700 0.1 1.2.3\n", 2, "1.2.3"),
    ("lone sign", HEAD + b"700 0.1 -\n", 2, "numbers only"),
    ("decimal comma", HEAD + b"700 0,1 0,2\n", 2, "decimal point"),
    ("comma separated", HEAD + b"700, 0.1, 0.2\n", 2, "decimal point"),
    ("nan", HEAD + b"700 nan 0.2\n", 2, "finite numbers"),
    ("inf", HEAD + b"700 0.1 -Inf\n", 2, "finite numbers"),
    ("too large to be finite", HEAD + b"700 0.1 1e999\n", 2, "1e999"),
    ("arabic digits", HEAD + "700 0.1 ٣\n".encode(), 2, "numbers only"),
    ("frequency falls", HEAD + b"701 0 0.1\n700 0 0.1\n", 3, "lower than in the row before"),
    ("frequency repeats", HEAD + b"700 0 0.1\n700 0 0.1\n", 3, "the same again"),
    ("frequency negative", HEAD + b"-700 0 0.1\n", 2, "0 Hz to 10 THz"),
    ("frequency in the wrong unit", b"# GHz S RI R 50\n700000000 0 0.1\n", 2, "check the unit"),
    ("size negative", b"# MHz S MA R 50\n700 -0.1 20\n", 2, "DB or RI"),
    ("size without bound", b"# MHz S DB R 50\n700 4000 20\n", 2, "no usable value"),
    ("impedance that can't be", b"# MHz Z RI R 50\n700 -1 0\n", 2, "no usable value"),
    ("hybrid of one port", b"# MHz H RI R 50\n700 1 0\n", 1, "two ports"),
    ("keyword without version", b"[Number of Ports] 1\n# MHz S RI R 50\n700 0 0\n", 1, "[Version] 2.0 before"),
    ("version 3", b"[Version] 3.0\n# MHz S RI R 50\n", 1, "version 1 or 2.0"),
    ("no number of ports", b"[Version] 2.0\n# MHz S RI R 50\n[Network Data]\n700 0 0\n", 1, "[Number of Ports]"),
    ("four ports", b"[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 4\n[Network Data]\n700 0 0\n", 3, "1 or 2 ports"),
    ("wrong declared number", V2 + b"[Number of Frequencies] 3\n[Network Data]\n700 0 0.1\n[End]\n", 0, "cut off"),
    ("declared number is a word", V2 + b"[Number of Frequencies] many\n[Network Data]\n700 0 0.1\n", 4, "whole number"),
    ("rows before network data", V2 + b"700 0 0.1\n", 4, "[Network Data] before"),
    ("unknown keyword", V2 + b"[Temperature] 20\n[Network Data]\n700 0 0.1\n", 4, "a keyword of version 2.0"),
    ("mixed modes", V2 + b"[Mixed-Mode Order] D2,3\n[Network Data]\n700 0 0.1\n", 4, "mixed modes"),
    ("reference is a word", V2 + b"[Reference] fifty\n[Network Data]\n700 0 0.1\n", 4, "fifty"),
    ("keyword behind the data", V2 + b"[Network Data]\n700 0 0.1\n[Reference] 50\n", 6, "only [Noise Data] or [End]"),
    ("noise without data", V2 + b"[Noise Data]\n", 4, "[Network Data] before"),
    ("order for one port", V2 + b"[Two-Port Data Order] 12_21\n[Network Data]\n700 0 0.1\n", 1, "two ports only"),
    ("cut in the middle of a number", HEAD + b"700 0.1 0.2\n701 0.1 -", 3, "numbers only"),
    ("cut behind a number", HEAD + b"700 0.1 0.2\n701 0.1", 3, "2 numbers"),
    ("exponent without digits", HEAD + b"700 0.1 1e\n", 2, "1e"),
    ("escape sequence", HEAD + b"700 0.1 \x1b[31m0.2\n", 2, "numbers only"),
    ("two files in one", HEAD + b"700 0.1 0.2\n701 0.1 0.2\n" + HEAD + b"700 0.1 0.2\n", 5, "lower than in the row before"),
    ("html", b"<html><body>login</body></html>\n", 1, "option line"),
]  # fmt: skip


@pytest.mark.parametrize(("data", "line", "words"), [row[1:] for row in DAMAGED], ids=[row[0] for row in DAMAGED])
def test_damaged_file_is_refused_with_line_and_reason(data: bytes, line: int, words: str) -> None:
    with pytest.raises(InputFaults) as caught:
        read_sweep(data, "bad.s1p")
    first = caught.value.faults[0]
    assert first.line == line
    assert words in str(caught.value)
    assert all(f.file == "bad.s1p" and f.expected and f.remedy for f in caught.value.faults)


TWO = b"# GHz S RI R 50\n"
DAMAGED_TWO: list[tuple[str, bytes, int, str]] = [
    ("one-port data", TWO + b"1 0.1 0.2\n", 2, "name the file .s1p"),
    ("eight numbers", TWO + b"1 1 2 3 4 5 6 7\n", 2, "8 numbers"),
    ("five numbers at a higher frequency", TWO + b"1 0 0 1 0 1 0 0 0\n2 1 1 1 1\n", 3, "5 numbers at a higher"),
    ("five numbers first", TWO + b"1 1 1 1 1\n", 2, "5 numbers"),
    ("network row behind noise", TWO + b"2 0 0 1 0 1 0 0 0\n1 1 1 1 1\n3 0 0 1 0 1 0 0 0\n", 4, "other noise rows"),
    ("no order", b"[Version] 2.0\n# GHz S RI\n[Number of Ports] 2\n[Network Data]\n1 0 0 1 0 1 0 0 0\n", 1, "12_21 or 21_12"),
    ("two references", b"[Version] 2.0\n# GHz S RI\n[Number of Ports] 2\n[Two-Port Data Order] 12_21\n[Reference] 50 75\n"
     b"[Network Data]\n1 0 0 1 0 1 0 0 0\n", 1, "one value for both"),
    ("noise of four numbers", b"[Version] 2.0\n# GHz S RI\n[Number of Ports] 2\n[Two-Port Data Order] 12_21\n[Network Data]\n"
     b"1 0 0 1 0 1 0 0 0\n[Noise Data]\n1 2 3 4\n[End]\n", 8, "5 numbers in a row"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("data", "line", "words"), [row[1:] for row in DAMAGED_TWO], ids=[row[0] for row in DAMAGED_TWO]
)
def test_damaged_two_port_file(data: bytes, line: int, words: str) -> None:
    with pytest.raises(InputFaults) as caught:
        read_two_port(data, "bad.s2p")
    assert caught.value.faults[0].line == line
    assert words in str(caught.value)


def test_there_are_enough_damaged_files() -> None:
    assert len(DAMAGED) + len(DAMAGED_TWO) >= 60
    for name, *_, words in (*DAMAGED, *DAMAGED_TWO):
        assert name
        assert words


def test_one_port_is_no_part() -> None:
    with pytest.raises(InputFaults, match="both ports"):
        read_two_port(PLAIN, "a.s1p")


def test_faults_are_bounded_and_the_rest_is_counted() -> None:
    with pytest.raises(InputFaults) as caught:
        read_sweep(HEAD + b"700 oops 0\n" * 5000, "bad.s1p")
    assert len(caught.value.faults) == touchstone_head.MOST_FAULTS + 1
    assert "4980 more rows with faults" in str(caught.value)
    with pytest.raises(InputFaults, match="5000 more rows with faults or more"):
        read_sweep(HEAD + b"700 oops 0\n" * 50_000, "bad.s1p")
    with pytest.raises(InputFaults) as caught:
        read_sweep(b"[a]\n" * 5000, "bad.s1p")
    assert len(caught.value.faults) <= touchstone_head.MOST_FAULTS + 1


def test_size_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(touchstone_head, "MOST_BYTES", 20)
    with pytest.raises(InputFaults, match="32 MB"):
        read_sweep(PLAIN, "a.s1p")
    monkeypatch.undo()
    monkeypatch.setattr(touchstone_head, "MOST_LINES", 3)
    with pytest.raises(InputFaults, match="4 lines"):
        read_sweep(PLAIN, "a.s1p")
    monkeypatch.undo()
    monkeypatch.setattr(touchstone_rows, "MOST_POINTS", 2)
    with pytest.raises(InputFaults, match="more than 2 rows"):
        read_sweep(PLAIN, "a.s1p")


def test_rows_are_not_shifted_by_a_cut_row() -> None:
    """Two faulty rows that together have the right count of numbers: a reader that only counts would take them."""
    with pytest.raises(InputFaults) as caught:
        read_sweep(HEAD + b"700 0.1 0.2\n701 0.1\n0.2 702 0.1 0.2\n703 0.1 0.2\n", "a.s1p")
    assert [f.line for f in caught.value.faults] == [3, 4]


# --- never anything but a sweep or faults ----------------------------------------------------------------------------------

WORDS = st.sampled_from(
    ["#", "!", "MHz", "Hz", "S", "Z", "Y", "H", "RI", "MA", "DB", "R", "50", "75", "0", "1", "-1", "700", "0.1", "1e308", "1e-308",
     "nan", "inf", "1,5", "\n", "\n", "\n", "\t", "[Version] 2.0", "[Number of Ports] 1", "[Number of Ports] 2", "[Network Data]",
     "[Noise Data]", "[End]", "[Reference]", "[Two-Port Data Order] 12_21", "[Matrix Format] Lower", "[Number of Frequencies] 2",
     "[Begin Information]", "é", "\x00", "\x0b", "\x85", "[", "]", "-", "+", ".", "e5"]
)  # fmt: skip


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(WORDS, max_size=60), st.sampled_from(["a.s1p", "a.s2p", "a.txt"]), st.booleans())
@example(["#", "R", "\n", "1", "0", "0"], "a.s1p", False)
@example(["#", "\n", "1e308", "50", "50"], "a.s1p", False)
@example(["#", "\n", *["1"] * 9, "\n", *["1e308"] * 5], "a.s2p", False)
@example(["#", *["#"] * 40, "\n", "1", "0", "0"], "a.s1p", False)
def test_hostile_words_give_a_sweep_or_faults(words: list[str], name: str, repair: bool) -> None:
    _try(" ".join(words).encode(), name, repair)


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=300), st.booleans())
def test_hostile_bytes_give_a_sweep_or_faults(data: bytes, repair: bool) -> None:
    _try(data, "a.s1p", repair)
    _try(HEAD + data, "a.s2p", repair)


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 200), st.binary(max_size=4))
def test_a_good_file_with_a_wound(at: int, wound: bytes) -> None:
    _try(PLAIN[:at] + wound + PLAIN[at + 1 :], "a.s1p", False)


def _try(data: bytes, name: str, repair: bool) -> None:
    for read in (read_sweep, read_two_port):
        faults: tuple[object, ...] = ()
        try:
            got = read(data, name, repair=repair)
        except InputFaults as error:
            faults = error.faults or ("none",)
        if faults:
            assert "none" not in faults
            assert len(faults) <= touchstone_head.MOST_FAULTS + 2
            continue
        assert np.all(np.diff(got.frequency_hz) > 0)
        assert got.points > 0
        if isinstance(got, Sweep):
            assert np.isfinite(got.magnitude).all()
            assert got.magnitude.shape == got.gamma.shape == got.frequency_hz.shape
        else:
            assert np.isfinite(got.s).all()


def faults_of(text: str) -> list[Fault]:
    with pytest.raises(InputFaults) as caught:
        read_sweep(text.encode(), "a.s1p")
    return list(caught.value.faults)


def test_a_cut_row_is_no_size_without_phase() -> None:
    rows = [f"{700 + k} 0.1 0.2" for k in range(6)]
    rows[3] = "703 0.1"
    (fault,) = faults_of("# MHz S RI R 50\n" + "\n".join(rows) + "\n")
    assert (fault.line, fault.got) == (5, "2 numbers")
    assert "cut or joined" in fault.remedy
    only = faults_of("# MHz S RI R 50\n" + "\n".join(f"{700 + k} 0.1" for k in range(6)) + "\n")
    assert "size without phase" in only[0].remedy


def test_a_frequency_below_zero_is_of_exchanged_columns() -> None:
    rows = "\n".join(f"{-0.01 * (k + 1)} 0.2 {700 + k}" for k in range(30))
    found = faults_of(f"# MHz S RI R 50\n{rows}\n")
    assert "exchanged" in found[0].remedy
    assert found[-1].got == "10 more rows with faults", "of 30, twenty are told one by one"


def test_a_word_that_is_no_part_of_the_option_line_is_named() -> None:
    data = b"# Hz S XX R 50\n700 0.1 0.2\n"
    assert content_kind(data, len(data))[0] == TOUCHSTONE
    assert faults_of(data.decode())[0].got == "XX"

"""What is computed for many sweeps in one go is what comes out one by one, to the last bit; and a glance hides nothing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from upmast.field import grid, many, prepare, setup_data
from upmast.field.delays import end_delay_s, whole_range_of
from upmast.field.distance import distance_picture, place_of_delay_m, why_no_distance
from upmast.field.kept import grouped
from upmast.field.many import Told, judge_file, judge_many, judge_some, standing_by
from upmast.field.measurement import Sweep
from upmast.field.place import place_of
from upmast.field.readers.plain_numbers import floats_between_commas
from upmast.field.readers.touchstone import read_sweep
from upmast.field.setup import check_setup
from upmast.field.untouched import Glance, glance, noise
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign
from upmast.rf.distance import distance_from_delay_m

Make = Callable[..., Sweep]
QUICK = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def without_phase(sweep: Sweep) -> Sweep:
    return replace(sweep, gamma=np.full(sweep.points, complex(np.nan, np.nan)), magnitude_only=True)


def uneven(sweep: Sweep) -> Sweep:
    f = sweep.frequency_hz.copy()
    f[1] += 0.4 * (f[2] - f[1])
    return replace(sweep, frequency_hz=f)


@pytest.fixture
def sweeps(make: Make, designs: dict[str, PathDesign]) -> list[Sweep]:
    """Three of each kind, in turn: with a load, a short and an antenna, without phase, uneven, with few points, with nothing at all."""
    out = []
    for n in range(3):
        one = make(designs["A2-J1"], seed=n, joints_db={0: 14.0} if n == 1 else None)
        out += [
            one, make(designs["A2-J1"], "short", seed=n), make(designs["A2-J2"], "antenna", seed=n), without_phase(one), uneven(one),
            make(designs["A2-J1"], seed=n, points=40), make(designs["A2-J1"], seed=n, points=8),
            replace(one, gamma=0.0 * one.gamma, magnitude=0.0 * one.magnitude),
        ]  # fmt: skip
    return out


def everything(sweep: Sweep, design: PathDesign) -> list[object]:
    """All that may be prepared, with the remarks that stand on it."""
    whole, numbers = whole_range_of(sweep), [sweep.return_loss_db, sweep.bounded_db, sweep.rising_db]
    numbers += [] if whole is None else [whole.delay_s, whole.size]
    if not why_no_distance(sweep, design):
        picture = distance_picture(sweep, design)
        numbers += [picture.distance_m, picture.size, picture.return_loss_db, *picture.peaks]
    assert all(not array.flags.writeable for array in numbers[:3])
    said = [end_delay_s(sweep), glance(sweep), noise(sweep), check_setup(sweep, design, "load")]
    return [*(array.tobytes() for array in numbers), *said]


def test_what_is_prepared_is_what_comes_out_alone(sweeps: list[Sweep], designs: dict[str, PathDesign]) -> None:
    alone = [replace(one) for one in sweeps]
    prepare.prepare(sweeps)
    prepare.prepare_matched([(one, designs["A2-J1"]) for one in sweeps])
    assert any("upmast.field.untouched.noise" in one.__dict__ for one in sweeps)
    for prepared, fresh in zip(sweeps, alone, strict=True):
        assert everything(prepared, designs["A2-J1"]) == everything(fresh, designs["A2-J1"])


def test_sweeps_are_grouped_by_their_frequencies_and_phase(sweeps: list[Sweep]) -> None:
    groups = grouped(sweeps)
    assert sum(map(len, groups)) == len(sweeps)
    for some in groups:
        assert all(np.array_equal(one.frequency_hz, some[0].frequency_hz) for one in some)
        assert len({one.magnitude_only for one in some}) == 1
    keys = {(one.frequency_hz.tobytes(), one.magnitude_only) for one in sweeps}
    assert len(groups) == len(keys)


def test_a_long_sweep_is_not_held_twice(make: Make, designs: dict[str, PathDesign]) -> None:
    long = [make(designs["A2-J1"], seed=n, points=prepare.MOST_POINTS + 1) for n in range(2)]
    prepare.prepare(long)
    assert all("rising_db" not in one.__dict__ for one in long)


# --- a glance hides nothing ---------------------------------------------------------------------------------------------


def cut(sweep: Sweep, share: float) -> Sweep:
    """Cut off where a share of the points is better."""
    least = float(np.quantile(sweep.magnitude, share))
    size = np.maximum(sweep.magnitude, least)
    return replace(sweep, gamma=sweep.gamma * size / sweep.magnitude, magnitude=size)


def rounded(sweep: Sweep, step: float) -> Sweep:
    gamma = np.round(sweep.gamma.real / step) * step + 1j * (np.round(sweep.gamma.imag / step) * step)
    return replace(sweep, gamma=gamma, magnitude=np.abs(gamma))


def filled(sweep: Sweep, every: int) -> Sweep:
    k = np.arange(sweep.points)
    gamma = np.interp(k, k[::every], sweep.gamma.real[::every]) + 1j * np.interp(
        k, k[::every], sweep.gamma.imag[::every]
    )
    return replace(sweep, gamma=gamma, magnitude=np.abs(gamma))


def repeated(sweep: Sweep, every: int) -> Sweep:
    gamma = sweep.gamma[np.arange(sweep.points) // every * every]
    return replace(sweep, gamma=gamma, magnitude=np.abs(gamma))


@QUICK
@given(
    st.integers(0, 99), st.sampled_from(["load", "short", "antenna"]), st.sampled_from([65, 201, 501]),
    st.sampled_from([
        lambda s, x: s, lambda s, x: cut(s, 0.12 * x), lambda s, x: rounded(s, 10.0 ** (-6.0 + 4.0 * x)), lambda s, x: filled(s, 1 + round(5 * x)),
        lambda s, x: repeated(s, 1 + round(3 * x)), lambda s, x: rounded(cut(s, 0.1), 10.0 ** (-6.0 + 4.0 * x)),
    ]), st.floats(0.0, 1.0),
)  # fmt: skip
def test_a_glance_hides_nothing(
    make: Make, designs: dict[str, PathDesign], seed: int, end: str, points: int,
    treat: Callable[[Sweep, float], Sweep], much: float,
) -> None:  # fmt: skip
    """The closer look at every number, forced, says the same."""
    design = designs["A2-J1"]
    sweep = treat(make(design, end, seed=seed, points=points), much)
    near = replace(sweep)
    near.__dict__["upmast.field.untouched.glance"] = Glance(False, False, False)
    assert setup_data.check_data(sweep, design.delay_s) == setup_data.check_data(near, design.delay_s)


def test_a_glance_does_leave_out_the_closer_look(make: Make, designs: dict[str, PathDesign]) -> None:
    for seed in range(5):
        assert glance(make(designs["A2-J1"], seed=seed)) == Glance(True, True, True)


def test_the_noise_is_of_medians(make: Make, designs: dict[str, PathDesign]) -> None:
    """numpy.median and numpy.kaiser, written out."""
    for points in (301, 1001):
        sweep = make(designs["A2-J1"], points=points)
        weights = np.kaiser(points, 14.0)
        seen = np.abs(np.fft.ifft(sweep.gamma * weights / weights.sum())) ** 2
        near = seen[int((0.95 if points > 600 else 0.92) * points) : int(0.985 * points)]
        got = noise(sweep)
        if got is None:
            assert near.size < 20
            continue
        far = seen[int(0.42 * points) : int(0.58 * points)]
        assert got == pytest.approx((np.median(far), np.median(near), seen.max()))


# --- one array for all sweeps over the same frequencies -----------------------------------------------------------------


def text(f: Sequence[float], seed: int = 0) -> bytes:
    rng = np.random.default_rng(seed)
    return b"# Hz S RI R 50\n" + b"".join(b"%d %.9f %.9f\n" % (round(x), *rng.uniform(-0.1, 0.1, 2)) for x in f)


def test_sweeps_over_the_same_frequencies_share_them() -> None:
    f = np.linspace(7.11e8, 9.03e8, 77)
    one, two = read_sweep(text(f, 1), "a.s1p"), read_sweep(text(f, 2), "b.s1p")
    assert one.frequency_hz is two.frequency_hz
    assert not one.frequency_hz.flags.writeable
    f[40] += 1.0  # the same count and the same ends
    other = read_sweep(text(f, 2), "c.s1p")
    assert other.frequency_hz is not one.frequency_hz
    assert other.frequency_hz[40] == one.frequency_hz[40] + 1.0
    assert read_sweep(text(np.linspace(7.11e8, 9.03e8, 77), 3), "d.s1p").frequency_hz[40] == one.frequency_hz[40]


def test_frequencies_that_are_kept_are_bounded() -> None:
    for n in range(3 * grid.MOST_GRIDS):
        grid.keep_grid(np.array([1.0, 2.0, 3.0 + n]))
    assert len(grid._known) <= grid.MOST_GRIDS
    long = np.arange(grid.MOST_POINTS + 1.0)
    grid.keep_grid(long)
    assert grid.known_grid(long) is None
    assert grid.known_grid(np.empty(0)) is None


# --- many files ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def paths(tmp_path: Path, make: Make, designs: dict[str, PathDesign]) -> list[Path]:
    out = []
    for n in range(9):
        path = ("A2-J1", "A2-J2", "B1-J1")[n % 3]
        sweep = make(designs[path], seed=n, points=201)
        rows = "".join(
            f"{f:.0f} {g.real:.9f} {g.imag:.9f}\n" for f, g in zip(sweep.frequency_hz, sweep.gamma, strict=True)
        )
        out.append(tmp_path / f"{n}_{path}.rl.load.s1p")
        out[-1].write_text(f"# Hz S RI R 50\n{rows}", "ascii")
    out[4].write_text("nothing")
    return out


def test_samples_are_held_for_a_few_files_at_a_time(
    proof: Proof, paths: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    expected = [repr(judge_file(proof, path)) for path in paths]
    held: list[int] = []
    work = many._judged_together
    monkeypatch.setattr(
        many, "_judged_together", lambda proof, some, how: held.append(len(some)) or work(proof, some, how)
    )  # type: ignore[func-returns-value]
    monkeypatch.setattr(many, "HELD_POINTS", 401)
    assert [repr(one) for one in judge_some(proof, paths)] == expected
    assert held == [2, 2, 3, 2, 0], "the file that can't be read holds no samples"


def test_processes_stand_by_for_more_files(proof: Proof, paths: list[Path]) -> None:
    expected = [repr(one) for one in judge_many(proof, paths, processes=1)]
    for processes in (1, 2):
        with standing_by(proof, processes=processes) as judge:
            assert [repr(one) for one in judge(paths)] == expected
            assert [repr(one) for one in judge(paths[:2])] == expected[:2]
            assert list(judge([])) == []
    with pytest.raises(ValueError, match="1 or more"), standing_by(proof, processes=0):
        pass


def test_the_names_of_a_proof_are_its_own(proof: Proof) -> None:
    other = replace(proof, site=proof.site.model_copy(update={"id": "ZZ-99"}))
    assert place_of(proof) is place_of(proof)
    assert place_of(other).own[0] == "ZZ-99"
    assert place_of(proof).own[0] == proof.site.id
    assert isinstance(judge_many(proof, [])[:0], tuple)
    assert Told("a", "asked", "which?").verdict is None


# --- quick ways to a number ---------------------------------------------------------------------------------------------


@QUICK
@given(
    st.lists(
        st.one_of(st.floats(allow_nan=False, allow_infinity=False), st.integers(-(10**30), 10**30)),
        min_size=1,
        max_size=20,
    )
)
def test_numbers_between_commas_are_those_of_float(values: list[float]) -> None:
    """Python's own `float`, which rounds to the nearest."""
    for form in (repr, "{:.9f}".format, "{:.12e}".format):
        words = [form(one) for one in values]
        got = floats_between_commas(",".join(words).encode())
        assert got is not None
        assert got.tolist() == [float(word) for word in words]


@pytest.mark.parametrize(
    "raw", [b".5", b"1.", b"+1", b"007", b"1,,2", b"1,", b"", b"nan", b"1e999", b"true", b'"1"', b"[1]", b"1]", b"\xff"]
)
def test_what_is_no_number_is_left(raw: bytes) -> None:
    got = floats_between_commas(raw)
    assert got is None or (raw == b"" and got.size == 0)


@QUICK
@given(st.floats(-3e-8, 3e-7))
def test_one_place_is_that_of_many(designs: dict[str, PathDesign], delay_s: float) -> None:
    for design in designs.values():
        length, v = [s.length_m for s in design.sections], [s.velocity_fraction for s in design.sections]
        assert place_of_delay_m(design, delay_s) == pytest.approx(
            float(distance_from_delay_m(delay_s, length, v)), abs=1e-9
        )


@pytest.mark.parametrize(("files", "processes"), [(0, 2), (1, 1), (9, 2), (999, 2), (1000, 2), (10_000, 8)])
def test_every_file_is_given_once_and_fewer_at_a_time_towards_the_end(files: int, processes: int) -> None:
    paths = [Path(str(n)) for n in range(files)]
    chunks = list(many._chunks(paths, processes))
    assert [path for some in chunks for path in some] == paths
    sizes = [len(some) for some in chunks]
    assert sizes == sorted(sizes, reverse=True)
    assert max(sizes, default=0) <= many.CHUNK

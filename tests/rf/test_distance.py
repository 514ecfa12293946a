from __future__ import annotations

import numpy as np
import pytest
import skrf

from upmast import rf
from upmast.rf import distance
from upmast.rf.distance import peaks, peaks_of_each, whole_range

F = np.linspace(1.7e9, 2.2e9, 501)
C0 = 299792458.0


def _echoes(places: list[float], sizes: list[float], vf: float) -> np.ndarray:
    return sum(g * np.exp(-4j * np.pi * F * d / (vf * C0)) for d, g in zip(places, sizes, strict=True))


def test_chirp_z_is_the_direct_sum() -> None:
    rng = np.random.default_rng(1)
    g = rng.normal(size=(2, F.size)) + 1j * rng.normal(size=(2, F.size))
    for start, step, count in ((0.0, 3.1e-11, 2001), (-5e-9, 1.7e-10, 37), (40e-9, 0.0, 1)):
        fast = rf.delay_response(F, g, start, step, count)
        slow = rf.response_at(F, g, start + step * np.arange(count))
        np.testing.assert_allclose(fast, slow, atol=1e-11)


def test_windowed_transform_agrees_with_scikit_rf() -> None:
    """At the bins k/(N df) of round-trip delay, the inverse FFT of a Kaiser-windowed one-port."""
    g = _echoes([3.0, 17.3], [0.04, 0.02], 0.85)
    net = skrf.Network(frequency=skrf.Frequency.from_f(F, unit="Hz"), s=g[:, None, None])
    windowed = net.windowed(window=("kaiser", 6.0), normalize=False, center_to_dc=False)
    theirs = np.fft.ifft(windowed.s[:, 0, 0])[:250]
    # the window of scikit-rf is the periodic one: ours of one point more, without its last point; and it has no sum of 1.
    longer = np.append(F, F[-1] + 1e6)
    own = rf.delay_response(longer, np.append(g, 0.0), 0.0, 1 / (2 * F.size * 1e6), 250, 6.0)
    own = own * np.kaiser(longer.size, 6.0).sum() / F.size
    np.testing.assert_allclose(np.abs(own), np.abs(theirs), atol=1e-9)


def test_a_lone_joint_reads_itself_at_its_place() -> None:
    """Real line from scikit-rf: jumper and feeder of other velocity and loss, one capacitive joint between them."""
    media = [
        skrf.media.DefinedGammaZ0(skrf.Frequency.from_f(F, unit="Hz"), z0=50.0, gamma=rf.propagation_per_m(F, vf, a, b))
        for vf, a, b in ((0.82, 0.12, 0.005), (0.89, 0.035, 0.002))
    ]
    c = float(rf.joint_capacitance_f(30.0, 1.95e9))
    line = media[0].line(6.0, "m") ** media[0].shunt_capacitor(c) ** media[1].line(35.0, "m") ** media[1].match()
    a = [float(rf.attenuation_db_per_m(1.95e9, 0.12, 0.005)), float(rf.attenuation_db_per_m(1.95e9, 0.035, 0.002))]
    trace = rf.distance_trace(F, line.s[:, 0, 0], [6.0, 35.0], [0.82, 0.89], a, count=4001)
    found = rf.peaks(trace.distance_m, trace.response, 40.0)
    assert found.distance_m.size == 1
    assert found.distance_m[0] == pytest.approx(6.0, abs=0.01)
    assert found.return_loss_db[0] == pytest.approx(30.0, abs=0.05)


def test_two_joints_beyond_the_resolution_stand_apart() -> None:
    vf = 0.85
    bin_m = float(rf.resolution_m(F[-1] - F[0], vf))
    places = [10.0, 10.0 + 3 * bin_m]
    trace = rf.distance_trace(F, _echoes(places, [0.03, 0.03], vf), [20.0], [vf], count=4001)
    found = rf.peaks(trace.distance_m, trace.response, 36.0)
    np.testing.assert_allclose(found.distance_m, places, atol=0.15 * bin_m)


@pytest.mark.parametrize(
    ("beta", "width", "side_db"), [(0.0, 1.21, -13), (4.0, 1.66, -30), (6.0, 1.96, -44), (8.0, 2.22, -59)]
)
def test_kaiser_widths_and_side_lobes(beta: float, width: float, side_db: float) -> None:
    """-6 dB width in units of v/(2B) and first side lobe: Harris 1978, table of windows (Kaiser-Bessel)."""
    x = np.linspace(-6, 6, 4801)  # in v/(2B)
    b_hz = F[-1] - F[0] + (F[1] - F[0])
    level = 20 * np.log10(np.abs(rf.response_at(F, np.ones(F.size, complex), x / (2 * b_hz), beta)))
    assert np.ptp(x[level >= level.max() - 20 * np.log10(2)]) == pytest.approx(width, abs=0.02)
    mid = level.size // 2
    rising = np.flatnonzero(np.diff(level[mid:]) > 0)[0]
    assert level[mid + rising :].max() == pytest.approx(side_db, abs=1.0)


def test_picture_repeats_after_the_range() -> None:
    g = _echoes([5.0], [0.1], 0.8)
    period_s = 1 / (2 * (F[1] - F[0]))
    assert float(rf.range_m(F[1] - F[0], 0.8)) == pytest.approx(0.8 * C0 * period_s)
    near, far = rf.response_at(F, g, [20e-9, 20e-9 + period_s])
    assert abs(near) == pytest.approx(abs(far))


def test_axes_are_inverse_and_have_the_right_slopes() -> None:
    lengths, vfs = [2.0, 30.0, 3.0], [0.8, 0.9, 0.82]
    x = np.linspace(-1, 40, 83)
    np.testing.assert_allclose(
        rf.distance_from_delay_m(rf.delay_from_distance_s(x, lengths, vfs), lengths, vfs), x, atol=1e-12
    )
    assert float(rf.delay_from_distance_s(2.0, lengths, vfs)) == pytest.approx(2 / (0.8 * C0))
    one = rf.delay_from_distance_s(36.0, lengths, vfs) - rf.delay_from_distance_s(35.5, lengths, vfs)
    assert float(one) == pytest.approx(0.5 / (0.82 * C0))
    np.testing.assert_allclose(
        rf.loss_to_distance_db([-1.0, 1.0, 2.0, 36.0], lengths, [0.2, 0.05, 0.1]), [0, 0.2, 0.4, 2.3]
    )


def test_no_transform_without_phase_or_even_step() -> None:
    g = _echoes([5.0], [0.1], 0.8)
    with pytest.raises(ValueError, match="magnitude alone"):
        rf.delay_response(F, np.abs(g), 0.0, 1e-10, 10)
    bent = F.copy()
    bent[250] += 0.01 * (F[1] - F[0])
    with pytest.raises(ValueError, match="uneven"):
        rf.response_at(bent, g, [0.0])
    rounded = np.round(F / 1e3) * 1e3  # a file written to the kHz is even enough
    assert rf.frequency_step_hz(rounded) == pytest.approx(1e6)
    for bad in (F[::-1], np.full(5, 1e9), F[:1]):
        with pytest.raises(ValueError, match=r"rise|two frequencies"):
            rf.frequency_step_hz(bad)


def test_nonsense_is_refused() -> None:
    g = _echoes([5.0], [0.1], 0.8)
    for call in (
        lambda: rf.delay_response(F, g[:-1], 0.0, 1e-10, 10),
        lambda: rf.delay_response(F, g, 0.0, 1e-10, 0),
        lambda: rf.delay_response(F, g, 0.0, 1e-10, 10**9),
        lambda: rf.distance_trace(F, g, [0.0], [0.8]),
        lambda: rf.distance_trace(F, g, [1.0], [0.8], beyond_m=-1.0),
        lambda: rf.resolution_m(0.0, 0.8),
        lambda: rf.window(10, -1.0),
        lambda: rf.peaks([0.0, 1.0], [1.0, 2.0], 30.0),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()


@pytest.mark.parametrize("points", [51, 64, 501])
def test_whole_range_is_the_direct_sum(points: int) -> None:
    rng = np.random.default_rng(points)
    f = np.linspace(1.7e9, 2.1e9, points)
    g = rng.normal(size=points) + 1j * rng.normal(size=points)
    delay, size = whole_range(f, g, -3e-9, 4 * points)
    assert delay.size >= 4 * points
    assert delay[0] == -3e-9
    # one step more and the picture begins again
    assert 2 * delay[-1] - delay[-2] - delay[0] == pytest.approx(0.5 / (f[1] - f[0]))
    np.testing.assert_allclose(size, np.abs(rf.response_at(f, g, delay)), atol=1e-9)
    with pytest.raises(ValueError, match="one value per frequency"):
        whole_range(f, g[:-1], 0.0, 64)


def test_plans_of_a_transform_are_of_their_grid_alone() -> None:
    """The same call again, and others between, give the same to the last bit; large ones are not kept."""
    g = np.exp(1j * np.arange(F.size) / 7.0)
    first = rf.delay_response(F, g, 1e-9, 1e-10, 300)
    for f, start, step, count in (
        (F + 1e6, 1e-9, 1e-10, 300),
        (F, 2e-9, 1e-10, 300),
        (F, 1e-9, 2e-10, 300),
        (F, 1e-9, 1e-10, 301),
    ):
        other = rf.delay_response(f, g, start, step, count)
        np.testing.assert_allclose(other, rf.response_at(f, g, start + step * np.arange(count)), atol=1e-9)
    assert np.array_equal(rf.delay_response(F, g, 1e-9, 1e-10, 300), first)
    kept = distance._chirps.cache_info().currsize
    rf.delay_response(F, g, 0.0, 1e-12, 30_000)
    assert distance._chirps.cache_info().currsize == kept


def test_the_step_of_a_grid_is_not_taken_for_that_of_another() -> None:
    f = np.linspace(1e9, 2e9, 101)
    f.setflags(write=False)
    assert rf.frequency_step_hz(f) == rf.frequency_step_hz(f) == 1e7
    other = np.linspace(1e9, 3e9, 101)
    assert rf.frequency_step_hz(other) == 2e7
    other[50] += 1e6
    with pytest.raises(ValueError, match="uneven"):
        rf.frequency_step_hz(other)
    assert rf.frequency_step_hz(f) == 1e7


def test_peaks_of_each_are_the_peaks_of_one() -> None:
    rng = np.random.default_rng(3)
    x = np.linspace(0.0, 30.0, 301)
    many = np.abs(rng.normal(size=(7, 301)) + 1j * rng.normal(size=(7, 301)))
    many[2] = 0.5  # no peak
    many[3] = 0.0
    floors = np.array([0.0, -3.0, 40.0, 40.0, 400.0, 10.0, -20.0])
    for one, response, floor in zip(peaks_of_each(x, many, floors), many, floors, strict=True):
        alone = peaks(x, response, floor)
        assert one.distance_m.tobytes() == alone.distance_m.tobytes()
        assert one.return_loss_db.tobytes() == alone.return_loss_db.tobytes()
        assert np.all(one.return_loss_db <= floor)
    inside = (many[:, 1:-1] > many[:, :-2]) & (many[:, 1:-1] >= many[:, 2:])
    strong = many[:, 1:-1] >= 10.0 ** (-floors / 20.0)[:, None]
    assert [p.distance_m.size for p in peaks_of_each(x, many, floors)] == (inside & strong).sum(axis=1).tolist()
    with pytest.raises(ValueError, match="three points"):
        peaks(x, many, 40.0)
    with pytest.raises(ValueError, match="three points"):
        peaks_of_each(x, many[0], [40.0])


def test_whole_ranges_of_many_are_those_of_one() -> None:
    rng = np.random.default_rng(4)
    f = np.linspace(1.0e9, 1.5e9, 101)
    many = rng.normal(size=(5, 101)) + 1j * rng.normal(size=(5, 101))
    delay, sizes = whole_range(f, many, -1e-9, 404)
    assert sizes.shape == (5, delay.size)
    for gamma, size in zip(many, sizes, strict=True):
        assert size.tobytes() == whole_range(f, gamma, -1e-9, 404)[1].tobytes()
    with pytest.raises(ValueError, match="least_count"):
        whole_range(f, many, 0.0, 0)


@pytest.mark.parametrize("points", [301, 1001, 1025])
def test_twice_as_many_points_as_frequencies_place_a_lone_peak(points: int) -> None:
    """The share of a cell by which the end of a line is misread on the coarse axis of the field's checks; see `field.delays`."""
    rng = np.random.default_rng(5)
    f = np.linspace(690e6, 2700e6, points)
    cell = 0.5 / (f[-1] - f[0])
    for at in rng.uniform(5.0, 60.0, 40) * cell:
        delay, size = whole_range(f, 0.1 * np.exp(-4j * np.pi * f * at), -2.0 * cell, 2 * points)
        found = peaks(delay, size, 45.0)
        k = int(np.argmin(found.return_loss_db))
        assert found.distance_m[k] == pytest.approx(at, abs=0.002 * cell)
        assert found.return_loss_db[k] == pytest.approx(20.0, abs=0.02)

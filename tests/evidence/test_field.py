"""The film field against closed forms, dense algebra and worked cases.

Films and lengths are in mil and ft where the case is: the model takes any one unit.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from tackfree.errors import InputError
from tackfree.evidence.data import Doubts, Evidence, Kits, Readings, Spread
from tackfree.evidence.draws import SmoothDraws
from tackfree.evidence.field import solve
from tackfree.evidence.interval import interval_moments
from tackfree.evidence.kernel import KERNELS, Rects, Tables

INF = math.inf
CELLS = [[(0, 16, 0, 20)], [(16, 32, 0, 20)], [(10, 26, 20, 40)]]
SPOTS = np.array([[5, 7], [20, 30]])


def one(*values: float) -> list[np.ndarray]:
    return [np.array([v]) for v in values]


@pytest.mark.parametrize(
    ("given", "mean", "sd", "log_z"),
    [
        # library: mpmath, 40-digit quadrature of the posterior
        ((25, 3, 28, 30, 0.7), 28.6635762139, 0.8662287619, -2.1823133137),
        ((25, 3, 24, 26, 0.7), 25.0, 0.8719567740, -1.3683500457),
        ((22, 3, 30, INF, 0.5), 30.7055650472, 0.9876098682, -5.4574476729),
        ((25, 3, -INF, 20, 0.5), 18.8982608575, 1.2053695724, -2.9939509188),
        ((25, 3, 50, 52, 0.5), 49.6679089008, 0.5917317420, -36.8269380112),
        ((25, 3, 0, 2, 0.5), 2.2528507754, 0.6027328456, -31.5586522883),
    ],
)
@pytest.mark.outside
def test_interval_moments(given: tuple[float, ...], mean: float, sd: float, log_z: float) -> None:
    m, s, low, high, noise = given
    got = interval_moments(*one(m, s**2, low, high, noise**2))
    assert got[0][0] == pytest.approx(mean, rel=1e-10)
    assert math.sqrt(got[1][0]) == pytest.approx(sd, rel=1e-9)
    assert got[2][0] == pytest.approx(log_z, rel=1e-10)


@pytest.mark.outside
def test_interval_moments_by_quadrature() -> None:
    m, s, low, high, noise = 24.0, 2.5, 26.0, 28.0, 0.7

    def weight(f: float) -> float:
        inside = stats.norm.cdf((high - f) / noise) - stats.norm.cdf((low - f) / noise)
        return float(stats.norm.pdf(f, m, s) * inside)

    z = integrate.quad(weight, 10, 40, points=[26, 28], epsabs=1e-14)[0]
    mean = integrate.quad(lambda f: f * weight(f), 10, 40, points=[26, 28], epsabs=1e-14)[0] / z
    got = interval_moments(*one(m, s**2, low, high, noise**2))
    assert got[0][0] == pytest.approx(mean, rel=1e-10)  # library: scipy.integrate.quad
    assert got[2][0] == pytest.approx(math.log(z), rel=1e-10)  # library: as above


def square_line_picking(r: float) -> float:
    """Density of the distance of two random points of a unit square."""
    if r <= 1:
        return 2 * r * (r * r - 4 * r + math.pi)
    w = math.sqrt(r * r - 1)
    return 2 * r * (4 * w - (r * r + 2 - math.pi) - 4 * math.atan(w))


@pytest.mark.parametrize(
    ("kernel", "on_grid"),
    [
        # library: dense double sums over the nodes
        ("exponential", 2.933817),
        ("matern32", 3.639859),
        ("squared-exponential", 4.218805),
    ],
)
@pytest.mark.outside
def test_variance_of_a_cell_mean(kernel: str, on_grid: float) -> None:
    got = Tables((20, 20), 1.0, 3.0, 8.0, kernel).cells(Rects.of([[(0, 20, 0, 20)]]))[0, 0]
    assert got == pytest.approx(on_grid, abs=6e-7)
    # published: square line picking; 1 ft nodes overstate it by 0.10 to 0.14 %
    exact = 9 * sum(
        integrate.quad(
            lambda r: square_line_picking(r) * float(KERNELS[kernel](np.array(20 * r / 8))), a, b
        )[0]
        for a, b in ((0, 1), (1, math.sqrt(2)))
    )
    assert 1.0009 < got / exact < 1.0014


def case9(s: float = 0.36) -> Evidence:
    return Evidence(
        shape=(40, 60),
        step=1.0,
        target=25.0,
        readings=Readings(
            node=SPOTS,
            low=np.array([23.0, 26.0]),
            high=np.array([25.0, 28.0]),
            gauge=np.array([0, 0]),
        ),
        kits=Kits(
            rects=Rects.of(CELLS),
            mean=np.array([25.2, 26.1, 24.8]),
            var=np.full(3, s),
            group=np.zeros(3, dtype=np.int64),
        ),
        doubts=Doubts(level=3.0, read=0.7),
    )


SPREAD = Spread(sd=2.0, ell=12.0)


def dense(shape: tuple[int, int], step: float, spread: Spread) -> np.ndarray:
    rows, cols = np.divmod(np.arange(shape[0] * shape[1]), shape[1])
    far = np.hypot(rows[:, None] - rows, cols[:, None] - cols) * step
    return spread.sd**2 * KERNELS[spread.kernel](far / spread.ell)


@pytest.mark.outside
def test_covariance_of_spots_and_cells() -> None:
    from dataclasses import replace

    got = replace(case9(), doubts=Doubts()).covariance(SPREAD)
    # library: dense double sums (numpy)
    upper = [
        4, .3771946641, 2.8210007930, .9989585054, .5180954014,
        4, .6214039507, .8756511704, 2.8709838649,
        2.4836687582, 1.2408270917, .7908424471,
        2.4836687582, .9158435012, 2.4836687582,
    ]  # fmt: skip
    assert got[np.triu_indices(5)] == pytest.approx(upper, abs=1e-9)
    a = case9().rows.toarray()
    full = a @ dense((40, 60), 1.0, SPREAD) @ a.T
    assert np.abs(got - full).max() < 1e-10  # library: the same sum written out


@pytest.mark.outside
def test_field_with_normal_data() -> None:
    e = case9()
    field = solve_by_middles(e)
    nodes = np.array([[5, 7], [20, 30], [0, 0], [39, 59], [24, 10]])
    mean = field.mean()
    film = dense(e.shape, 1.0, SPREAD) + 9.0
    a = e.rows.toarray()
    c = a @ film @ a.T + np.diag(field.sites.s)
    again = 25 + film @ a.T @ np.linalg.solve(c, field.sites.y - 25)
    assert np.abs(mean.ravel() - again).max() < 1e-9  # library: numpy, 2,400 nodes
    # library: dense algebra of an earlier program, printed to 1e-8 and good to 2e-7
    expected = [24.50115826, 26.04256644, 24.80453494, 25.20465410, 26.13990060]
    assert mean[tuple(nodes.T)] == pytest.approx(expected, abs=2e-7)
    sds = [0.69604615, 0.68489669, 1.65401324, 2.28533976, 0.98601639]
    assert field.sd(nodes) == pytest.approx(sds, abs=1e-7)
    cells = [24.98882626, 25.95996658, 25.34138861]
    over = [mean[r0:r1, c0:c1].mean() for ((r0, r1, c0, c1),) in CELLS]
    assert over == pytest.approx(cells, abs=1e-7)
    assert field.sites.log_evidence == pytest.approx(-9.496607717, abs=1e-8)


def solve_by_middles(e: Evidence):
    from tackfree.evidence.field import Field

    return Field(evidence=e, spread=SPREAD, sites=e.by_middles(SPREAD), tables=e.tables(SPREAD))


@pytest.mark.outside
def test_field_with_intervals() -> None:
    field = solve(case9(), SPREAD)
    nodes = np.array([[5, 7], [20, 30], [24, 10]])
    # library: expectation propagation, checked against long Gibbs runs
    mean = [24.511809, 26.041554, 26.139616]
    assert field.mean()[tuple(nodes.T)] == pytest.approx(mean, abs=1e-4)
    assert field.sd(nodes) == pytest.approx([0.697286, 0.667359, 0.986011], abs=1e-4)


@pytest.mark.outside
def test_two_spots_against_the_exact_integral() -> None:
    """Prior 25, sd 3, correlation 2/3, each seen in an interval, their mean known."""
    low, high, noise = np.array([22.0, 26.0]), np.array([24.0, 28.0]), 0.7
    f = np.linspace(10, 40, 1201)
    a, b = np.meshgrid(f, f, indexing="ij")
    weight = stats.multivariate_normal([25, 25], [[9, 6], [6, 9]]).pdf(np.dstack([a, b]))
    for k, x in enumerate((a, b)):
        weight *= stats.norm.cdf((high[k] - x) / noise) - stats.norm.cdf((low[k] - x) / noise)
    weight *= stats.norm.pdf(0.5 * (a + b), 25.6, 0.6)
    weight /= weight.sum()
    exact = np.array([(a * weight).sum(), (b * weight).sum()])
    assert exact == pytest.approx([23.750689, 26.876070], abs=2e-6)  # library: 2-D quadrature
    from tackfree.evidence.interval import settle

    half = np.array([0.5, 0.5])
    k = np.array([[9.0, 6.0], [6.0, 9.0]])
    rows = np.vstack([np.eye(2), half])
    sites = settle(
        rows @ k @ rows.T, centre=25.0, low=low, high=high, noise_var=noise**2,
        kit_y=np.array([25.6]), kit_var=np.array([0.36]),
    )  # fmt: skip
    mean = 25 + k @ rows.T @ sites.alpha
    c = np.linalg.inv(rows @ k @ rows.T + np.diag(sites.s))
    sd = np.sqrt(np.diag(k - k @ rows.T @ c @ rows @ k))
    assert mean == pytest.approx(exact, abs=2e-4)
    # library: 2-D quadrature
    assert sd == pytest.approx([0.705493, 0.723423], abs=2e-3)


@pytest.mark.outside
def test_one_cell_alone() -> None:
    e = Evidence(
        shape=(20, 20),
        step=1.0,
        target=25.0,
        readings=Readings.none(),
        kits=Kits(
            rects=Rects.of([[(0, 20, 0, 20)]]),
            mean=np.array([27.0]),
            var=np.array([0.36]),
            group=np.array([0]),
        ),
        doubts=Doubts(),
    )
    spread = Spread(sd=3.0, ell=8.0)
    field = solve(e, spread)
    # published: normal-normal update with the variance of the test above
    assert field.mean().mean() == pytest.approx(26.819994, abs=1e-6)
    k = float(e.covariance(spread)[0, 0])
    assert k - k**2 / (k + 0.36) == pytest.approx(0.327599, abs=1e-6)


@pytest.mark.outside
@pytest.mark.parametrize(
    ("shape", "ell", "count"), [((200, 60), 10.0, 300), ((10, 1000), 40.0, 200)]
)
def test_maps_of_far_reaching_fields_are_exact(
    shape: tuple[int, int], ell: float, count: int
) -> None:
    """A transform padded too short, or clipped, is off by far more than this."""
    rng = np.random.default_rng(7)
    node = np.column_stack([rng.integers(0, n, count) for n in shape])
    y = rng.normal(25, 3, count)
    e = Evidence(
        shape=shape, step=1.0, target=25.0,
        readings=Readings(node=node, low=y, high=y, gauge=np.zeros(count, dtype=np.int64)),
        kits=Kits.none(), doubts=Doubts(read=0.5),
    )  # fmt: skip
    spread = Spread(sd=3.0, ell=ell, kernel="exponential")
    from tackfree.evidence.field import Field

    sites = e.by_middles(spread)
    field = Field(evidence=e, spread=spread, sites=sites, tables=e.tables(spread))
    far = np.hypot(*(node[:, None, :] - node[None, :, :]).transpose(2, 0, 1))
    c = 9 * np.exp(-far / ell) + 0.25 * np.eye(count)
    alpha = np.linalg.solve(c, y - 25)
    every = np.column_stack([a.ravel() for a in np.indices(shape)])
    near = np.hypot(*(every[:, None, :] - node[None, :, :]).transpose(2, 0, 1))
    mean = 25 + (9 * np.exp(-near / ell)) @ alpha
    assert np.abs(field.mean().ravel() - mean).max() < 1e-9  # library: numpy.linalg.solve


@pytest.mark.outside
def test_a_thousand_spots_as_another_program_has_them() -> None:
    """200 × 500 nodes, 1,000 spots; a transform padded too short is off by 5e-3."""
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern

    from tackfree.evidence.field import Field

    rng = np.random.default_rng(11)
    shape, count = (200, 500), 1000
    node = np.column_stack([rng.integers(0, n, count) for n in shape])
    y = rng.normal(25, 3, count)
    e = Evidence(
        shape=shape, step=1.0, target=25.0, kits=Kits.none(), doubts=Doubts(read=0.5),
        readings=Readings(node=node, low=y, high=y, gauge=np.zeros(count, dtype=np.int64)),
    )  # fmt: skip
    spread = Spread(sd=3.0, ell=10.0, kernel="exponential")
    field = Field(evidence=e, spread=spread, sites=e.by_middles(spread), tables=e.tables(spread))
    kernel = ConstantKernel(9.0) * Matern(10.0, nu=0.5)
    other = GaussianProcessRegressor(kernel, alpha=0.25, optimizer=None).fit(node, y - 25)
    ask = np.argwhere(np.ones(shape, dtype=bool))[::7]
    # library: scikit-learn's Gaussian process on the same spots
    assert np.abs(field.mean()[tuple(ask.T)] - 25 - other.predict(ask)).max() < 1e-9


@pytest.mark.outside
def test_an_l_shaped_cell() -> None:
    t = Tables((40, 60), 1.0, 2.0, 12.0)
    rects = Rects.of([[(0, 10, 0, 20), (10, 20, 0, 8)]])
    assert t.cells(rects)[0, 0] == pytest.approx(2.4256975664, abs=1e-9)  # library: dense sum
    assert t.spots_cells(SPOTS[:1], rects)[0, 0] == pytest.approx(2.8396795528, abs=1e-9)


def test_bias_and_loss_against_dense_algebra() -> None:
    from dataclasses import replace

    e = replace(case9(), doubts=Doubts(level=3.0, read=0.7, gauge=0.7, loss=0.4))
    spread = Spread(sd=2.0, ell=12.0, tau=0.8, micro=0.5)
    field = solve(e, spread)
    a, cell = e.rows.toarray(), e.cell_of.ravel()
    film = dense(e.shape, 1.0, spread) + 9.0 + 0.64 * (cell[:, None] == cell)
    shared = np.zeros((5, 5))
    shared[:2, :2] = 0.49
    shared[2:, 2:] = 0.16
    c = a @ film @ a.T + shared + np.diag(field.sites.s)
    gain = film @ a.T @ np.linalg.inv(c)
    mean = 25 + gain @ (field.sites.y - 25)
    var = np.diag(film) - np.einsum("ij,ij->i", gain, film @ a.T)
    every = np.column_stack([x.ravel() for x in np.indices(e.shape)])
    assert np.abs(field.mean().ravel() - mean).max() < 1e-9
    assert np.abs(field.sd(every) ** 2 - var).max() < 1e-9
    # library: numpy, the same written out; single precision where the map is whole
    assert np.abs(field._variances(np.float64).ravel() - var).max() < 1e-9
    assert np.abs(field.sd_map().ravel() ** 2 - var).max() < 4e-5
    bias, _ = field.gauge_bias()
    assert bias[0] == pytest.approx(0.49 * np.linalg.solve(c, field.sites.y - 25)[:2].sum())


def test_kits_known_exactly_are_met_exactly() -> None:
    field = solve(case9(s=1e-9), SPREAD)
    over = [field.mean()[r0:r1, c0:c1].mean() for ((r0, r1, c0, c1),) in CELLS]
    assert over == pytest.approx([25.2, 26.1, 24.8], abs=1e-6)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 39), st.integers(0, 59), st.floats(15, 35), st.randoms())
def test_more_data_never_doubt_more_and_order_is_nothing(
    row: int, col: int, low: float, shuffle
) -> None:
    e = case9()
    r = e.readings
    more = Readings(
        node=np.vstack([r.node, [[row, col]]]),
        low=np.append(r.low, low),
        high=np.append(r.high, low + 2),
        gauge=np.append(r.gauge, 0),
    )
    nodes = np.array([[0, 0], [20, 30], [39, 59], [row, col]])
    plain = Evidence(
        shape=e.shape, step=1.0, target=25.0, readings=more, kits=e.kits, doubts=e.doubts
    )
    after = solve_by_middles(plain)
    assert (after.sd(nodes) <= solve_by_middles(e).sd(nodes) + 1e-9).all()
    turn = list(range(3))
    shuffle.shuffle(turn)
    turned = Readings(
        node=more.node[turn], low=more.low[turn], high=more.high[turn], gauge=more.gauge[turn]
    )
    other = Evidence(
        shape=e.shape, step=1.0, target=25.0, readings=turned, kits=e.kits, doubts=e.doubts
    )
    assert np.abs(solve_by_middles(other).mean() - after.mean()).max() < 1e-10


def test_draws_have_the_mean_and_the_sd_of_the_field() -> None:
    e = case9()
    spread = Spread(sd=2.0, ell=12.0, tau=0.8)
    field = solve(e, spread)
    got = np.concatenate(list(field.draws(1500, seed=3)))[:, ::13, ::19].reshape(1500, -1)
    nodes = np.array([[r, c] for r in range(0, 40, 13) for c in range(0, 60, 19)])
    sd = field.sd(nodes)
    z = (got.mean(0) - field.mean()[tuple(nodes.T)]) / (sd / math.sqrt(1500))
    assert np.abs(z).max() < 4
    assert np.abs(got.std(0) / sd - 1).max() < 0.08  # sampling error of 1,500 draws is 0.018
    again = np.concatenate(list(field.draws(20, seed=3)))
    assert np.array_equal(again, np.concatenate(list(field.draws(20, seed=3))))


@pytest.mark.parametrize("most", [0, 240])
def test_draws_by_factor_and_by_transform_are_of_one_covariance(monkeypatch, most: int) -> None:
    monkeypatch.setattr("tackfree.evidence.draws.MOST_FACTORED", most)
    t = Tables((12, 20), 1.0, 2.0, 9.0)
    draws = SmoothDraws(t)
    assert (draws.factor is None) is (most == 0)
    got = draws.some(4000, np.random.default_rng(6)).reshape(4000, -1)
    exact = dense((12, 20), 1.0, Spread(sd=2.0, ell=9.0))  # exact: the kernel itself
    found = got.T @ got / 4000
    # sampling error of a covariance: sqrt((c_ii c_jj + c_ij²) / 4000), at most 0.0894
    off = (found - exact) / np.sqrt((16 + exact**2) / 4000)
    assert np.abs(off).max() < 5.5
    assert np.sqrt((off**2).mean()) == pytest.approx(1.0, abs=0.35)  # neighbours err together
    assert np.abs(got.mean(0)).max() < 4.5 * 2 / math.sqrt(4000)
    again = draws.some(5, np.random.default_rng(6))
    assert again.shape == (5, 12, 20)


def test_nothing_and_too_much_are_refused() -> None:
    with pytest.raises(InputError, match="neither a reading nor a kit"):
        Evidence(
            shape=(4, 4), step=1.0, target=25.0, readings=Readings.none(), kits=Kits.none(),
            doubts=Doubts(),
        )  # fmt: skip
    many = Readings(
        node=np.zeros((4001, 2), dtype=np.int64),
        low=np.full(4001, 24.0),
        high=np.full(4001, 26.0),
        gauge=np.zeros(4001, dtype=np.int64),
    )
    with pytest.raises(InputError, match="4001 readings and kits"):
        Evidence(
            shape=(4, 4), step=1.0, target=25.0, readings=many, kits=Kits.none(), doubts=Doubts()
        )

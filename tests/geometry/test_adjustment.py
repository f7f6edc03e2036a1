"""The one solver against an independent one, against linear algebra, and in bad company."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations

import numpy as np
import pytest
from scipy.optimize import least_squares

from axledger.geometry.adjustment import Adjusted, Array, Equations, adjust
from axledger.geometry.plane_network import PlaneDistance, adjust_plane, inner_constraints
from axledger.job.model import Model

LAYOUTS = ("tractor-4x2", "tractor-6x4", "semitrailer-3axle", "rigid-6x4", "tractor-6x4-semitrailer-2axle")


def independent(equations: Equations, start: Array) -> Array:
    """Return the optimum by scipy's Levenberg-Marquardt (MINPACK), priors as further observations, its own
    numeric Jacobian in the last steps."""
    held = np.isfinite(equations.prior_sd)

    def residuals(x: Array) -> Array:
        misfit = (equations.predict(x)[0] - equations.observed) / equations.sd
        return np.concatenate((misfit, (x - equations.prior)[held] / equations.prior_sd[held]))

    scale = np.where(held, equations.prior_sd, 1.0)
    found = least_squares(
        lambda q: residuals(q * scale), start / scale, method="lm", jac="3-point", xtol=1e-15, ftol=1e-15, gtol=1e-15
    )
    return np.asarray(found.x) * scale


@pytest.mark.parametrize("name", LAYOUTS)
@pytest.mark.parametrize("seed", [1, 2])
def test_vehicle_optimum_agrees_with_an_independent_solver(
    model_of: Callable[[str], Model], measured: Callable[[Model, int], Equations], name: str, seed: int
) -> None:
    equations = measured(model_of(name), seed)
    adjusted = adjust(equations)
    assert (adjusted.converged, adjusted.minimum) == (True, True)
    # metres and radians: 1e-8 rad over a wheelbase is below 1e-7 m, a thousandth of the finest display step
    assert adjusted.x.tolist() == pytest.approx(independent(equations, equations.prior).tolist(), abs=1e-8, rel=0)


def plane_case(seed: int, points: int, *, fixed: int) -> tuple[Array, list[PlaneDistance], list[str]]:
    rng = np.random.default_rng(seed)
    places = rng.uniform(-6, 6, (points, 2))
    names = [f"P{number}" for number in range(points)]
    distances: list[PlaneDistance] = []
    for first, second in combinations(range(points), 2):
        if first >= fixed or second >= fixed:
            sd_m = float(rng.uniform(2e-4, 2e-3))
            length_m = float(np.hypot(*(places[first] - places[second])) + sd_m * rng.normal())
            distances.append(PlaneDistance(names[first], names[second], length_m, sd_m))
    return places, distances, names


def jacobian_of(places: Array, distances: Sequence[PlaneDistance], names: Sequence[str]) -> Array:
    """Return the Jacobian of all points, written out line by line."""
    rows = np.zeros((len(distances), 2 * len(names)))
    for row, distance in enumerate(distances):
        i, j = names.index(distance.start), names.index(distance.end)
        line = places[j] - places[i]
        unit = line / np.sqrt(line @ line)
        rows[row, 2 * j : 2 * j + 2], rows[row, 2 * i : 2 * i + 2] = unit, -unit
    return rows


@pytest.mark.parametrize("seed", range(6))
def test_fixed_plane_network_agrees_with_an_independent_solver(seed: int) -> None:
    places, distances, names = plane_case(seed, 6, fixed=2)
    start = {name: (float(x) + 0.05, float(y) - 0.03) for name, (x, y) in zip(names[2:], places[2:], strict=True)}
    known = {name: (float(x), float(y)) for name, (x, y) in zip(names[:2], places[:2], strict=True)}
    _, adjusted = adjust_plane(start, distances, fixed=known)

    def residuals(x: Array) -> Array:
        everything = np.concatenate((places[:2], x.reshape(-1, 2)))
        return np.array([
            (np.hypot(*(everything[names.index(d.end)] - everything[names.index(d.start)])) - d.length_m) / d.sd_m
            for d in distances
        ])  # fmt: skip

    first = np.array(list(start.values())).ravel()
    found = least_squares(residuals, first, method="lm", jac="3-point", xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert adjusted.x.tolist() == pytest.approx(found.x.tolist(), abs=1e-8, rel=0)
    optimum = np.concatenate((places[:2], adjusted.x.reshape(-1, 2)))
    design = jacobian_of(optimum, distances, names)[:, 4:]
    weight = np.array([distance.sd_m**-2 for distance in distances])
    expected = np.linalg.inv(design.T @ np.diag(weight) @ design)
    assert adjusted.covariance == pytest.approx(expected, rel=1e-7, abs=1e-16)
    assert adjusted.freedom == len(distances) - 8
    assert float(np.sum(adjusted.redundancy)) == pytest.approx(adjusted.freedom, abs=1e-9)


def test_covariance_is_the_inverse_of_the_weighted_normal_matrix(
    model_of: Callable[[str], Model], measured: Callable[[Model, int], Equations]
) -> None:
    equations = measured(model_of("semitrailer-2axle"), 4)
    adjusted = adjust(equations)
    _, jacobian = equations.predict(adjusted.x)
    normal = jacobian.T @ np.diag(equations.sd**-2) @ jacobian + np.diag(equations.prior_sd**-2)
    expected = np.linalg.inv(normal)
    scale = np.sqrt(np.diag(expected))
    assert adjusted.covariance / np.outer(scale, scale) == pytest.approx(expected / np.outer(scale, scale), abs=1e-7)
    assert adjusted.freedom == len(equations.observed)
    total = float(np.sum(adjusted.redundancy) + np.sum(adjusted.prior_redundancy))
    assert total == pytest.approx(adjusted.freedom, abs=1e-6)
    misfit = float(np.sum((adjusted.residual / equations.sd) ** 2))
    misfit += float(np.sum(((adjusted.x - equations.prior) / equations.prior_sd) ** 2))
    assert adjusted.square_sum == pytest.approx(misfit, rel=1e-12)
    assert adjusted.s0 == pytest.approx((misfit / adjusted.freedom) ** 0.5, rel=1e-12)


def free_and_fixed(seed: int, off_m: float) -> tuple[Adjusted, Adjusted, list[PlaneDistance], list[str], Array]:
    """Adjust one figure free, from a start ``off_m`` astray, and with the datum in two of its points."""
    places, distances, names = plane_case(seed, 5, fixed=0)
    astray = places + off_m * np.random.default_rng([seed, 2]).normal(size=places.shape)
    _, free = adjust_plane({name: (x, y) for name, (x, y) in zip(names, astray.tolist(), strict=True)}, distances)

    def predict(x: Array) -> tuple[Array, Array]:  # P0 at the origin, P1 on the x axis
        everything = np.concatenate((np.zeros(2), x[:1], np.zeros(1), x[1:])).reshape(-1, 2)
        lengths = [np.hypot(*(everything[names.index(d.end)] - everything[names.index(d.start)])) for d in distances]
        return np.array(lengths), np.delete(jacobian_of(everything, distances, names), [0, 1, 3], axis=1)

    along = places[1] - places[0]
    length = float(np.hypot(*along))
    turn = np.array([[along[0], along[1]], [-along[1], along[0]]]) / length
    moved = ((places - places[0]) @ turn.T).ravel()
    start = np.delete(moved, [0, 1, 3])
    fixed = adjust(
        Equations(
            predict=predict,
            observed=np.array([d.length_m for d in distances]),
            sd=np.array([d.sd_m for d in distances]),
            prior=start,
            prior_sd=np.full(7, np.inf),
        )
    )
    return free, fixed, distances, names, astray


@pytest.mark.parametrize("off_m", [0.0, 0.3])
@pytest.mark.parametrize("seed", [3, 5])
def test_what_the_datum_cannot_touch_is_the_same_free_and_fixed(seed: int, off_m: float) -> None:
    free, fixed, distances, names, _ = free_and_fixed(seed, off_m)
    assert (free.converged, fixed.converged) == (True, True)
    assert free.freedom == fixed.freedom == len(distances) - 7
    assert free.square_sum == pytest.approx(fixed.square_sum, rel=1e-9)
    assert free.residual.tolist() == pytest.approx(fixed.residual.tolist(), abs=1e-9)
    assert free.redundancy.tolist() == pytest.approx(fixed.redundancy.tolist(), abs=1e-9)
    # covariance of adjusted distances: the S-transformation leaves it alone
    design = jacobian_of(free.x.reshape(-1, 2), distances, names)
    everything = np.concatenate((np.zeros(2), fixed.x[:1], np.zeros(1), fixed.x[1:])).reshape(-1, 2)
    other = np.delete(jacobian_of(everything, distances, names), [0, 1, 3], axis=1)
    assert design @ free.covariance @ design.T == pytest.approx(other @ fixed.covariance @ other.T, rel=1e-7, abs=1e-15)


@pytest.mark.parametrize("off_m", [0.0, 0.3])
def test_free_covariance_is_that_of_the_bordered_normal_equations(off_m: float) -> None:
    free, _, distances, names, start = free_and_fixed(7, off_m)
    design = jacobian_of(free.x.reshape(-1, 2), distances, names)
    weight = np.array([distance.sd_m**-2 for distance in distances])
    normal = design.T @ np.diag(weight) @ design
    unit = float(np.mean(np.diag(normal)))
    border = np.linalg.qr(inner_constraints(start))[0]
    bordered = np.block([[normal / unit, border], [border.T, np.zeros((3, 3))]])
    expected = np.linalg.inv(bordered)[:10, :10] / unit
    assert free.covariance == pytest.approx(expected, rel=1e-8, abs=1e-17)
    # the datum says: no shift and no turn of the approximate coordinates
    assert (border.T @ (free.x - start.ravel())).tolist() == pytest.approx([0.0] * 3, abs=1e-12)


# --- saddles, bad starts, what does not converge -----------------------------------------------------------------

MARKS = np.array([[-3.0, 0.0], [3.0, 0.0]])


def two_marks(prior_sd_m: float) -> Equations:
    """Return a point 5 m from two marks 6 m apart: at (0, 4) or (0, -4), with a saddle between them."""

    def predict(x: Array) -> tuple[Array, Array]:
        line = x - MARKS
        length = np.hypot(line[:, 0], line[:, 1])
        return length, line / length[:, None]

    return Equations(
        predict=predict,
        observed=np.array([5.0, 5.0]),
        sd=np.full(2, 1e-3),
        prior=np.zeros(2),
        prior_sd=np.full(2, prior_sd_m),
    )


@pytest.mark.parametrize("prior_sd_m", [0.5, 10.0])
def test_a_start_on_the_saddle_is_told_apart_from_a_minimum(prior_sd_m: float) -> None:
    adjusted = adjust(two_marks(prior_sd_m), np.zeros(2))
    assert not adjusted.minimum
    assert adjusted.square_sum > 1e6


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("aside_m", [1e-6, 1e-3, 0.5])
def test_a_start_beside_the_saddle_finds_the_minimum_of_its_side(side: float, aside_m: float) -> None:
    adjusted = adjust(two_marks(10.0), np.array([0.0, side * aside_m]))
    assert (adjusted.converged, adjusted.minimum) == (True, True)
    assert adjusted.x.tolist() == pytest.approx([0.0, side * 4.0], abs=1e-6)


def test_too_few_iterations_are_said() -> None:
    adjusted = adjust(two_marks(10.0), np.array([1.0, 0.5]), most_iterations=1)
    assert (adjusted.converged, adjusted.iterations) == (False, 1)


def test_steps_that_would_raise_the_sum_are_halved() -> None:
    def predict(x: Array) -> tuple[Array, Array]:  # Gauss-Newton alone diverges on arctan from beyond 1.39
        return np.arctan(x), np.diag(1.0 / (1.0 + x**2))

    equations = Equations(
        predict=predict, observed=np.zeros(1), sd=np.ones(1), prior=np.zeros(1), prior_sd=np.full(1, np.inf)
    )
    adjusted = adjust(equations, np.array([5.0]))
    assert adjusted.converged
    assert adjusted.x.tolist() == pytest.approx([0.0], abs=1e-6)


def test_without_readings_the_priors_stand() -> None:
    equations = Equations(
        predict=lambda x: (np.zeros(0), np.zeros((0, 2))),
        observed=np.zeros(0),
        sd=np.zeros(0),
        prior=np.array([1.0, -2.0]),
        prior_sd=np.array([0.1, 3.0]),
    )
    adjusted = adjust(equations)
    assert adjusted.x.tolist() == [1.0, -2.0]
    assert np.sqrt(np.diag(adjusted.covariance)).tolist() == pytest.approx([0.1, 3.0], rel=1e-12)
    assert (adjusted.freedom, adjusted.s0, adjusted.converged, adjusted.minimum) == (0, 1.0, True, True)


def test_the_start_does_not_move_the_optimum(
    model_of: Callable[[str], Model],
    measured: Callable[[Model, int], Equations],
    lifelike: Callable[[Model, int], np.ndarray],
) -> None:
    model = model_of("tractor-4x2")
    equations = measured(model, 6)
    from_priors, from_elsewhere = adjust(equations), adjust(equations, lifelike(model, 99))
    u = np.sqrt(np.diag(from_priors.covariance))
    assert ((from_elsewhere.x - from_priors.x) / u).tolist() == pytest.approx([0.0] * len(u), abs=1e-6)


def test_repeats_named_as_such_give_what_separate_rows_give() -> None:
    """A straight line through repeated points with unequal weights; drawn, checked against the plain form."""
    rng = np.random.default_rng(7)
    places, rows = np.array([0.0, 1.0, 3.0]), np.array([0, 1, 1, 2, 0, 2, 2])
    observed, sd = 2.0 + 0.5 * places[rows] + rng.normal(0.0, 0.1, 7), np.array([0.1, 0.1, 0.2, 0.1, 0.3, 0.1, 0.1])
    design = np.column_stack((np.ones(3), places))
    prior, prior_sd = np.zeros(2), np.array([np.inf, 1.0])

    def of(*, rows_given: bool) -> Adjusted:
        matrix = design if rows_given else design[rows]
        return adjust(
            Equations(
                predict=lambda x: (matrix @ x, matrix), observed=observed, sd=sd, prior=prior, prior_sd=prior_sd,
                rows=rows if rows_given else None,
            )
        )  # fmt: skip

    plain, short = of(rows_given=False), of(rows_given=True)
    for name in ("x", "covariance", "residual", "redundancy", "prior_redundancy"):
        assert getattr(short, name) == pytest.approx(getattr(plain, name), rel=1e-9, abs=1e-12), name
    assert short.square_sum == pytest.approx(plain.square_sum, rel=1e-9)
    assert short.freedom == plain.freedom

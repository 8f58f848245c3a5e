"""The polynomial behind the tail of the normal law is worked out again in long numbers, and so is the tail itself.

The series: P(Z <= s) = 1/2 + phi(s) (s + s^3/3 + s^5/15 + ...) (Abramowitz & Stegun 1964, 26.2.11).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from decimal import Decimal, localcontext

import numpy as np
import pytest

from diag.evidence import normal

DIGITS = 460  # the series at 40 loses 350 of them
NODES = 48
NUMBERS = range(NODES)


@pytest.fixture(autouse=True)
def long_numbers() -> Iterator[None]:
    with localcontext() as context:
        context.prec = DIGITS
        yield


def pi() -> Decimal:
    """To all digits, by Machin's formula."""

    def arctangent_of_one_by(n: int) -> Decimal:
        term, total, k = Decimal(1) / n, Decimal(1) / n, 1
        while abs(term) > Decimal(10) ** -DIGITS:
            term, k = -term / (n * n), k + 2
            total += term / k
        return total

    return 4 * (4 * arctangent_of_one_by(5) - arctangent_of_one_by(239))


def scaled_tail(s: Decimal, circle: Decimal) -> Decimal:
    """exp(s^2 / 2) P(Z > s)."""
    term, total, n = s, s, 1
    while term > total * Decimal(10) ** -DIGITS:
        term *= s * s / (2 * n + 1)
        total, n = total + term, n + 1
    return (s * s / 2).exp() / 2 - total / (2 * circle).sqrt()


def cosine(angle: Decimal) -> Decimal:
    term = total = Decimal(1)
    k = 0
    while abs(term) > Decimal(10) ** -60:
        k += 2
        term *= -angle * angle / (k * (k - 1))
        total += term
    return total


def test_the_polynomial_is_the_interpolation_that_it_is_said_to_be() -> None:
    """Chebyshev's coefficients at his nodes, cut off, and told by powers: each number to its last digit but one."""
    circle = pi()
    assert float(circle) == math.pi
    angles = [circle * (2 * i + 1) / (2 * NODES) for i in NUMBERS]
    sizes = [Decimal("13.8") / (Decimal("1.3") - cosine(angle)) - 6 for angle in angles]
    parts = [2 * (1 + (circle / 2).sqrt() * s) * scaled_tail(s, circle) for s in sizes]
    with localcontext() as context:
        context.prec = 70
        turned = [[cosine(circle * ((2 * i + 1) * j % (4 * NODES)) / (2 * NODES)) for i in NUMBERS] for j in NUMBERS]
        spaces = [2 * sum(part * each for part, each in zip(parts, row, strict=True)) / NODES for row in turned]
        spaces[0] /= 2
        count = len(normal._SMOOTH_PART)
        assert sum(abs(each) for each in spaces[count:]) < Decimal("1e-17")
        before, now = [Decimal(1)], [Decimal(0), Decimal(1)]
        powers = [spaces[0], spaces[1], *[Decimal(0)] * (count - 2)]
        for space in spaces[2:count]:
            twice = [Decimal(0), *(2 * each for each in now)]
            before, now = now, [each - (before[k] if k < len(before) else 0) for k, each in enumerate(twice)]
            powers = [power + space * (now[k] if k < len(now) else 0) for k, power in enumerate(powers)]
    np.testing.assert_allclose(normal._SMOOTH_PART, [float(power) for power in powers], rtol=3e-16)


@pytest.mark.parametrize("size", ["0", "0.37", "1.3", "2.7", "4.4", "6.1", "8.2", "12.3", "20.7", "33.3", "37.9"])
def test_the_tail_is_right_for_few_and_for_many(size: str) -> None:
    """Within what a last digit of s^2 is in it: relatively s^2 times 2e-16, and 1e-15 near 0."""
    at = float(size)
    exact = float(scaled_tail(Decimal(at), pi()) * (-Decimal(at) * Decimal(at) / 2).exp())
    for count in (1, 3 * normal._FEW, normal._BLOCK + 7):
        found = normal._tail(np.full(count, at))
        np.testing.assert_allclose(found, exact, rtol=1e-15 + 2e-16 * at * at)
        assert found.shape == (count,)


def test_beyond_all_numbers_nothing_is_left() -> None:
    odd = np.array([39.0, 1e200, np.inf, np.nan])
    for many in (1, normal._FEW):
        np.testing.assert_array_equal(normal._tail(np.tile(odd, many)), np.tile([0.0, 0.0, 0.0, np.nan], many))

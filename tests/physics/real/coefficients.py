#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Prints the coefficients of lib/physics/real/elementary.hpp.

Polynomials through the Chebyshev points of the interval of reduction, solved in 60 decimal digits
and rounded to doubles, with the largest relative error they cause (in units of 2^-53).
"""
from decimal import Decimal as D
from decimal import getcontext

getcontext().prec = 60
PI = D("3.14159265358979323846264338327950288419716939937510582097494459")
SMALL = D(10) ** -58


def cosine(x):
    total, term, k = D(0), D(1), 0
    while abs(term) > SMALL:
        total += term
        k += 2
        term = -term * x * x / (k * (k - 1))
    return total


def exp_rest(r):
    """(exp(r) - 1 - r) / r^2"""
    total, term, k = D(0), D(1) / 2, 2
    while abs(term) > SMALL:
        total += term
        k += 1
        term = term * r / k
    return total


def log_rest(z):
    """2 (artanh(s) - s) / (s z), z = s^2"""
    total, power, k = D(0), D(1), 3
    while power > SMALL:
        total += 2 * power / k
        power *= z
        k += 2
    return total


def value(coefficients, x):
    total = D(0)
    for c in reversed(coefficients):
        total = total * x + c
    return total


def interpolate(f, low, high, degree):
    n = degree + 1
    points = [(low + high) / 2 + (high - low) / 2 * cosine(PI * (2 * i + 1) / (2 * n)) for i in range(n)]
    rows = [[x ** j if j else D(1) for j in range(n)] + [f(x)] for x in points]
    for i in range(n):
        pivot = max(range(i, n), key=lambda r: abs(rows[r][i]))
        rows[i], rows[pivot] = rows[pivot], rows[i]
        for r in range(i + 1, n):
            factor = rows[r][i] / rows[i][i]
            rows[r] = [a - factor * b for a, b in zip(rows[r], rows[i])]
    solution = [D(0)] * n
    for i in reversed(range(n)):
        solution[i] = (rows[i][n] - sum(rows[i][j] * solution[j] for j in range(i + 1, n))) / rows[i][i]
    return solution


def report(name, f, low, high, degree, relative):
    c = interpolate(f, low, high, degree)
    grid = [low + (high - low) * i / 997 for i in range(998)]
    worst = max(abs(relative(x, value(c, x) - f(x))) for x in grid)
    print(f"{name}: largest error {float(worst) * 2**53:.3f} * 2^-53")
    for x in c:
        print("   ", float(x).hex())


MARGIN = D("1.0005")  # reduction by a rounded quotient overshoots the interval a little
LN2 = D(2).ln()
HALF = LN2 / 2 * MARGIN
S = (D(2).sqrt() - 1) / (D(2).sqrt() + 1)
report("exp", exp_rest, -HALF, HALF, 9, lambda r, e: e * r * r / r.exp())
report("log", log_rest, D(0), S * S * MARGIN, 6, lambda z, e: e * z / 2)
HIGH = D(int(LN2 * 2**41)) / 2**41
print("ln2 ", float(HIGH).hex(), float(LN2 - HIGH).hex())
print("1/ln2", float(1 / LN2).hex())

"""Makes nests.json: rankings of nests against factory pieces, computed by the formulas of docs/no-sheet.md.

    python3 tests/reference/stats/nests.py > tests/reference/stats/nests.json     (needs numpy and scipy)

Each case has readings in hundredths of a millimetre, from a seed; a list for each axis.
"""

import json
import math

import numpy as np
from scipy import stats

STEP = 0.01


def mean_of(hundredths):
    x = np.array(hundredths) / 100
    rounding = STEP / 2 if max(hundredths) - min(hundredths) <= 1 else 0.0
    return len(x), x.mean(), max(x.std(ddof=1), STEP / math.sqrt(12)), rounding


def contrast(*parts):
    """Value, standard error, Satterthwaite's degrees of freedom, rounding."""
    value = sum(weight * mean for weight, (_, mean, _, _) in parts)
    shares = [(weight**2 * sd**2 / n, n) for weight, (n, _, sd, _) in parts]
    square = sum(share for share, _ in shares)
    freedom = square**2 / sum(share**2 / (n - 1) for share, n in shares)
    return value, math.sqrt(square), freedom, sum(abs(weight) * rounding for weight, (*_, rounding) in parts)


def interval(*parts):
    value, error, freedom, rounding = contrast(*parts)
    low, high = stats.t.interval(0.95, freedom, loc=value, scale=error)
    return low - rounding, high + rounding


def sign(level, *parts):
    value, error, freedom, rounding = contrast(*parts)
    reach = stats.t.isf(level, freedom) * error + rounding
    return 0 if abs(value) <= reach else math.copysign(1, value)


def ranked(factory, nests):
    factory = [mean_of(axis) for axis in factory]
    nests = [[mean_of(axis) for axis in nest] for nest in nests]
    alpha = 0.05 / (max(len(nests) - 1, 1) * len(factory))

    def is_nearer(one, other, f):
        o, n, v = (sd**2 / count for count, _, sd, _ in (other, one, f))
        correlation = (o - n) / 2 / math.sqrt((o + n) * ((o + n) / 4 + v))
        level = alpha / 2 if correlation > 0.7 else alpha
        apart = sign(level, (1, other), (-1, one))
        beside = sign(level, (0.5, other), (0.5, one), (-1, f))
        return apart * beside > 0

    said = []
    for at, nest in enumerate(nests):
        axes = []
        for axis, (mean, f) in enumerate(zip(nest, factory)):
            others = [other[axis] for number, other in enumerate(nests) if number != at]
            axes.append({"mean": mean[1], "sd": mean[2], "mean_bounds": interval((1, mean)),
                         "difference": mean[1] - f[1], "bounds": interval((1, mean), (-1, f)),
                         "may_be_nearest": not any(is_nearer(other, mean, f) for other in others)})
        said.append({"nest": at, "axes": axes})
    said.sort(key=lambda nest: (not all(axis["may_be_nearest"] for axis in nest["axes"]),
                                max(abs(axis["difference"]) for axis in nest["axes"])))
    return alpha, said


def case(number):
    random = np.random.default_rng([19, number])
    axes = 1 + number % 2
    sd = random.choice([0.2, 0.7, 1.5, 3.0])

    def pieces():
        n = int(random.choice([3, 5, 10, 25]))
        return [np.rint(random.normal(random.uniform(158, 166), sd, n)).astype(int).tolist() for _ in range(axes)]

    factory, nests = pieces(), [pieces() for _ in range(int(random.integers(1, 5)))]
    alpha, expected = ranked(factory, nests)
    return {"factory": factory, "nests": nests, "alpha": alpha, "ranked": expected}


print(json.dumps({"cases": [case(number) for number in range(40)]}, separators=(",", ":")).replace('{"factory"', '\n{"factory"'))

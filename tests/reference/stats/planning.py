"""Writes planning.json beside it: probabilities and sample sizes of planned studies and sampling plans, by scipy.

Probabilities over an estimated standard deviation are found by adaptive quadrature over its quantile, in other variables
than ours; sizes by trying one number after the other.
"""

import json
import math
import os

import numpy as np
from scipy import integrate, optimize, stats


def over_sd(of, freedom, corner=1.0):
    """The mean of `of(s)`, which is 0 beyond the quantile `corner` of s."""
    by_share = lambda share: of(math.sqrt(stats.chi2.ppf(share, freedom) / freedom))
    return integrate.quad(by_share, 0, corner, epsabs=1e-11, epsrel=1e-11, limit=500)[0]


def capability(required, truth, limits, confidence, n):
    scale = 3 * math.sqrt(n)
    border = stats.nct.ppf(confidence, n - 1, scale * required)
    if limits == 1:
        power = stats.nct.sf(border, n - 1, scale * truth)
    else:
        most = scale * truth / border
        corner = stats.chi2.cdf(most * most * (n - 1), n - 1)
        power = over_sd(lambda s: 2 * stats.norm.cdf(scale * truth - border * s) - 1, n - 1, corner)
    return {"required": required, "truth": truth, "limits": limits, "confidence": confidence, "n": n, "power": power}


def comparison(d, confidence, n):
    t = stats.t.ppf(0.5 + confidence / 2, 2 * n - 2)
    shift = d * math.sqrt(n / 2)
    power = stats.nct.sf(t, 2 * n - 2, shift) + stats.nct.cdf(-t, 2 * n - 2, shift)
    return {"d": d, "confidence": confidence, "n": n, "power": power}


def equivalence(margin, d, confidence, n):
    freedom, error = 2 * n - 2, math.sqrt(2 / n)
    t = stats.t.ppf(confidence, freedom)
    low, high = (-margin - d) / error, (margin - d) / error
    most = (high - low) / (2 * t)
    corner = stats.chi2.cdf(most * most * freedom, freedom)
    power = over_sd(lambda s: stats.norm.cdf(high - t * s) - stats.norm.cdf(low + t * s), freedom, corner)
    return {"margin": margin, "d": d, "confidence": confidence, "n": n, "power": power}


def smallest(of, required, start=2):
    n = start
    while of(n)["power"] < required:
        n += 1
    return n


def proportion(required, truth, confidence, power):
    count = 0
    while True:
        n = count + 1
        while stats.binom.cdf(count, n, required) > 1 - confidence:
            n += 1
        if truth == 0 or stats.binom.cdf(count, n, truth) >= power:
            return {"required": required, "truth": truth, "confidence": confidence, "power": power, "n": n, "count": count}
        count += 1


def gauge(required, truth, share, appraisers, trials, parts, confidence):
    p, o, r = parts, appraisers, trials
    free = o - 1, p * o * r - p - o + 1
    far, near = (freedom / stats.chi2.ppf(0.5 - confidence / 2, freedom) - 1 for freedom in free)
    error, most = 1 - share, (required / truth) ** 2
    between, within = error / (p * r) + share, (1 - 1 / (p * r)) * error

    def bound(a, b):
        return a + b + math.sqrt((far * a) ** 2 + (near * b) ** 2)

    def by(s):
        a = between * s * s
        if bound(a, 0) >= most:
            return 0.0
        b = optimize.brentq(lambda b: bound(a, b) - most, 0, most)
        return stats.chi2.cdf(free[1] * b / within, free[1])

    corner = stats.chi2.cdf(most / (between * (1 + far)) * free[0], free[0])
    return {"required": required, "truth": truth, "share": share, "appraisers": o, "trials": r, "parts": p,
            "confidence": confidence, "power": over_sd(by, free[0], corner)}


def attributes(aql, producer, limiting, consumer, lot):
    count = 0
    bad = (None, None) if lot is None else (math.floor(lot * aql + 1e-9), math.ceil(lot * limiting - 1e-9))
    accepts = lambda n, p, d: stats.binom.cdf(count, n, p) if lot is None else stats.hypergeom.cdf(count, lot, d, n)
    while True:
        n = count + 1
        while accepts(n, limiting, bad[1]) > consumer:
            n += 1
        if accepts(n, aql, bad[0]) >= 1 - producer:
            return {"aql": aql, "producer": producer, "limiting": limiting, "consumer": consumer, "lot": lot,
                    "n": n, "count": count}
        count += 1


def variables(aql, producer, limiting, consumer, known):
    z1, z2 = stats.norm.isf(aql), stats.norm.isf(limiting)
    n = 1 if known else 2
    while True:
        root = math.sqrt(n)
        if known:
            k = z1 - stats.norm.isf(producer) / root
            accepted = stats.norm.cdf(root * (z2 - k))
        else:
            k = stats.nct.ppf(producer, n - 1, z1 * root) / root
            accepted = stats.nct.sf(k * root, n - 1, z2 * root)
        if accepted <= consumer:
            return {"aql": aql, "producer": producer, "limiting": limiting, "consumer": consumer, "known": known,
                    "n": n, "k": k}
        n += 1


found = {
    "provenance": "computed by planning.py with scipy",
    "capability": [capability(*case) for case in
                   [(1.33, 1.67, 1, 0.95, 25), (1.33, 1.67, 1, 0.95, 70), (1.0, 1.5, 1, 0.9, 10), (1.33, 1.4, 1, 0.95, 600),
                    (1.33, 1.67, 2, 0.95, 25), (1.33, 1.67, 2, 0.95, 90), (1.0, 1.2, 2, 0.95, 5), (1.67, 2.0, 2, 0.99, 300)]],
    "comparison": [comparison(*case) for case in
                   [(0.5, 0.95, 64), (0.5, 0.95, 32), (1.0, 0.95, 17), (2.0, 0.99, 5), (0.0, 0.95, 10), (0.1, 0.9, 900)]],
    "equivalence": [equivalence(*case) for case in
                    [(0.5, 0.0, 0.95, 70), (0.5, 0.1, 0.95, 82), (1.0, 0.0, 0.95, 5), (1.0, 0.5, 0.95, 20),
                     (2.0, 0.0, 0.975, 8), (0.3, 0.3, 0.95, 50), (1.0, 0.0, 0.95, 2)]],
    "proportion": [proportion(*case) for case in
                   [(0.05, 0.0, 0.95, 0.8), (0.05, 0.01, 0.95, 0.8), (0.02, 0.005, 0.9, 0.9), (0.1, 0.02, 0.95, 0.95)]],
    "gauge": [gauge(*case) for case in
              [(0.3, 0.1, 0.0, 3, 3, 10, 0.95), (0.3, 0.15, 0.1, 3, 3, 10, 0.95), (0.3, 0.15, 0.3, 5, 2, 20, 0.95),
               (0.1, 0.05, 0.05, 2, 2, 5, 0.9)]],
    "attributes": [attributes(*case) for case in
                   [(0.01, 0.05, 0.065, 0.1, None), (0.01, 0.05, 0.05, 0.05, None), (0.0065, 0.05, 0.04, 0.1, None),
                    (0.01, 0.05, 0.08, 0.05, 100), (0.01, 0.05, 0.065, 0.1, 500), (0.04, 0.1, 0.15, 0.1, 60)]],
    "variables": [variables(*case, known) for known in (True, False) for case in
                  [(0.01, 0.05, 0.03, 0.05), (0.01, 0.05, 0.065, 0.1), (0.0065, 0.05, 0.04, 0.1), (0.04, 0.1, 0.2, 0.1)]],
}
found["sizes"] = {
    "comparison": [{"d": d, "power": power, "n": smallest(lambda n: comparison(d, 0.95, n), power)}
                   for d in (0.5, 1.0, 1.5) for power in (0.8, 0.9)],
    "capability": [{"truth": truth, "limits": limits,
                    "n": smallest(lambda n: capability(1.33, truth, limits, 0.95, n), 0.8, 20)}
                   for truth in (1.67, 2.0) for limits in (1, 2)],
}
with open(os.path.join(os.path.dirname(__file__), "planning.json"), "w", encoding="utf-8") as file:
    json.dump(found, file, indent=1)
    file.write("\n")

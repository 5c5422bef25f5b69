"""Writes intervals.json beside it: figures of tolerance and prediction intervals by scipy.

The factors for the next pieces are found by adaptive quadrature over the standard deviation and the mean, in other
variables than ours; the places between readings by a search through all of them.
"""

import json
import math
import os

import numpy as np
from scipy import integrate, optimize, stats


def binomial(n, p, k):
    of = stats.binom(n, p)
    return {"n": n, "p": p, "k": k, "at_most": of.cdf(k), "above": of.sf(k)}


def hypergeometric(lot, having, n, k):
    return {"lot": lot, "with": having, "n": n, "k": k, "at_most": stats.hypergeom(lot, having, n).cdf(k)}


def free(side, n, content, confidence):
    ends = 2 if side == "both" else 1
    reached = {cut: stats.beta.sf(content, n - cut + 1, cut) for cut in range(ends, n + 1)}
    fits = [cut for cut in reached if reached[cut] >= confidence]
    case = {"side": side, "n": n, "content": content, "confidence": confidence}
    if fits:
        return case | {"cut": max(fits), "reached": reached[max(fits)]}
    more = next(m for m in range(ends, 100_000) if stats.beta.sf(content, m - ends + 1, ends) >= confidence)
    return case | {"pieces": more}


def prediction(side, n, following, confidence):
    nodes, weights = np.polynomial.hermite_e.hermegauss(160)
    weights = weights / weights.sum()

    def within(reach):
        off = nodes / math.sqrt(n)
        if side == "both":
            one = stats.norm.cdf(off + reach) - stats.norm.cdf(off - reach)
        else:
            one = stats.norm.cdf(off + reach)
        return np.sum(weights * one ** following)

    def confidence_of(k):
        # over the quantile of chi-squared, so that the weight is uniform
        by_share = lambda share: within(k * math.sqrt(stats.chi2.ppf(share, n - 1) / (n - 1)))
        return integrate.quad(by_share, 0, 1, epsabs=1e-11, epsrel=1e-11, limit=400)[0]

    tail = (1 - confidence) / (2 if side == "both" else 1)
    root = math.sqrt(1 + 1 / n)
    low, high = (stats.t.isf(share, n - 1) * root for share in (tail, tail / following))
    k = low if following == 1 else optimize.brentq(lambda k: confidence_of(k) - confidence, low, high, xtol=1e-11)
    return {"side": side, "n": n, "next": following, "confidence": confidence, "factor": k}


found = {
    "provenance": "computed by intervals.py with scipy; binomial, hypergeometric and beta distributions are scipy's own",
    "binomial": [binomial(*case) for case in [(5, 0.1, 0), (10, 0.5, 5), (93, 0.05, 1), (473, 0.01, 2), (1000, 0.9, 880),
                                              (5000, 0.001, 0), (200_000, 0.01, 2100), (1_000_000, 0.5, 499_000)]],
    "hypergeometric": [hypergeometric(*case) for case in [(100, 5, 10, 0), (100, 10, 45, 3), (50, 30, 40, 25),
                                                          (10_000, 300, 52, 3), (1_000_000, 20_000, 500, 8)]],
    "free": [free(side, n, content, confidence)
             for side in ("both", "lower") for n in (5, 10, 58, 59, 93, 100, 473, 1000)
             for content in (0.5, 0.95, 0.99) for confidence in (0.9, 0.95)],
    "prediction": [prediction(*case) for case in
                   [("both", 3, 1, 0.95), ("both", 3, 5, 0.99), ("both", 5, 2, 0.9), ("both", 10, 1, 0.95),
                    ("both", 10, 5, 0.95), ("both", 30, 50, 0.95), ("both", 100, 5, 0.99), ("lower", 3, 2, 0.95),
                    ("lower", 5, 50, 0.95), ("lower", 10, 1, 0.9), ("lower", 30, 5, 0.95), ("lower", 100, 50, 0.99)]],
}
with open(os.path.join(os.path.dirname(__file__), "intervals.json"), "w", encoding="utf-8") as file:
    json.dump(found, file, indent=1)
    file.write("\n")

"""Compares `tallyjaw study` with an independent library on 1,000 random sets of readings.

Usage: cross_check.py TALLYJAW [SETS]     (needs numpy, scipy and statsmodels, see requirements.txt)

Each set has 3 to 60 readings in whole resolution steps, from a seed. Exit code 1 on the first figure that
differs or has a value on one side only.
"""

import json
import math
import os
import re
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from scipy import optimize, special, stats
from statsmodels import api
from statsmodels.stats import inter_rater

TALLYJAW = sys.argv[1]
SETS = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
LOWER, UPPER, STEP = 1.57, 1.67, 0.01
REFUSED = []


def study(folder, what, *arguments, spec=("--spec", "1.62 ±0.05 mm")):
    return of_file(folder, "set.csv", what, "--column", "value", "--unit", "mm", *spec, *arguments)


def of_file(folder, name, what, *arguments):
    command = [TALLYJAW, "study", what, "--from", os.path.join(folder, name), "--json", *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise SystemExit(f"{command}: {done.returncode}\n{done.stderr}")
    return json.loads(done.stdout)


def write(folder, hundredths, groups):
    with open(os.path.join(folder, "set.csv"), "w", encoding="utf-8") as file:
        file.write("value,group,place\n")
        for place, (value, group) in enumerate(zip(hundredths, groups), 1):
            file.write(f"{value // 100}.{value % 100:02},{group},{place}\n")


def described(x):
    n, mean, sd = len(x), x.mean(), x.std(ddof=1)
    want = {"n": n, "mean": mean, "sd": sd, "min": x.min(), "max": x.max(), "median": np.median(x),
            "q1": np.quantile(x, 0.25), "q3": np.quantile(x, 0.75)}
    if sd > 1e-12:
        t = stats.t.ppf(0.975, n - 1) * sd / math.sqrt(n)
        chi = stats.chi2.ppf([0.975, 0.025], n - 1)
        want |= {"mean_low": mean - t, "mean_high": mean + t,
                 "sd_low": sd * math.sqrt((n - 1) / chi[0]), "sd_high": sd * math.sqrt((n - 1) / chi[1]),
                 "lag1": np.sum((x[:-1] - mean) * (x[1:] - mean)) / np.sum((x - mean) ** 2)}
    return want


def capable(x):
    n, mean, sd = len(x), x.mean(), x.std(ddof=1)
    if sd <= 1e-12:
        return {"mean": mean}
    within = np.mean(np.abs(np.diff(x))) / (2 / math.sqrt(math.pi))
    want = {"sigma_within": within, "cp": (UPPER - LOWER) / (6 * within),
            "cpk": min(UPPER - mean, mean - LOWER) / (3 * within),
            "pp": (UPPER - LOWER) / (6 * sd), "ppk": min(UPPER - mean, mean - LOWER) / (3 * sd),
            "ppm_below": 1e6 * stats.norm.cdf((LOWER - mean) / sd),
            "ppm_above": 1e6 * stats.norm.sf((UPPER - mean) / sd)}
    chi = stats.chi2.ppf([0.025, 0.975], n - 1)
    want |= {"pp_low": want["pp"] * math.sqrt(chi[0] / (n - 1)),
             "pp_high": want["pp"] * math.sqrt(chi[1] / (n - 1))}
    reach = stats.norm.ppf(0.975) * math.sqrt(1 / (9 * n) + want["ppk"] ** 2 / (2 * (n - 1)))
    want |= {"ppk_low": want["ppk"] - reach, "ppk_high": want["ppk"] + reach}
    scale = 3 * math.sqrt(n)
    excess = lambda c: 0.95 - stats.nct.cdf(scale * want["ppk"], n - 1, scale * c)
    if 0.6 < want["ppk"] < 3 and n > 9:
        want["ppk_least"] = optimize.brentq(excess, 0.05, want["ppk"], xtol=1e-13)
    return want


def lag1(x):
    away = x - x.mean()
    return np.sum(away[:-1] * away[1:]) / np.sum(away ** 2)


def refused(got, a, b):
    """Whether a group was refused because its readings follow each other, as far as can be said without the shuffles of it."""
    if "lag-1" not in str(got.get("undefined", {}).get("difference_low")):
        return False
    assert any(lag1(part) * math.sqrt(len(part)) > 1 for part in (a, b) if part.std() > 1e-12), got
    return True


def compared(a, b):
    if a.std() + b.std() <= 1e-12:
        return {}
    # Readings that spread by less than half a step may all be rounded the same way.
    rounding = sum(STEP / 2 for part in (a, b) if part.std(ddof=1) < STEP / 2 - 1e-12)
    welch = stats.ttest_ind(b, a, equal_var=False)
    bounds = welch.confidence_interval(0.95)
    want = {"difference": b.mean() - a.mean(), "difference_low": bounds.low - rounding,
            "difference_high": bounds.high + rounding, "welch_t": welch.statistic, "welch_df": welch.df, "welch_p": welch.pvalue}
    common = stats.ttest_ind(b, a)
    want |= {"pooled_t": common.statistic, "pooled_p": common.pvalue}
    error = (b.mean() - a.mean()) / welch.statistic if abs(welch.statistic) > 1e-6 else None
    if error:
        margin = 0.02 - rounding
        low = stats.t.sf((b.mean() - a.mean() + margin) / error, welch.df)
        high = stats.t.cdf((b.mean() - a.mean() - margin) / error, welch.df)
        want["equivalence_p"] = max(low, high)
    distances = [np.abs(part - np.median(part)) for part in (a, b)]
    if max(part.std() for part in distances) > 1e-9:
        spread = stats.levene(a, b, center="median")
        want |= {"brown_forsythe_w": spread.statistic, "brown_forsythe_p": spread.pvalue}
    return want


def drifting(x):
    line = stats.linregress(np.arange(1, len(x) + 1), x)
    want = {"slope": line.slope}
    if x.std() > 1e-12 and line.stderr > 1e-12:
        t = stats.t.ppf(0.975, len(x) - 2)
        want |= {"slope_low": line.slope - t * line.stderr, "slope_high": line.slope + t * line.stderr,
                 "slope_p": line.pvalue}
        want["mann_kendall_tau"] = stats.kendalltau(np.arange(len(x)), x).statistic if len(x) > 3 else None
    return want


def two_sided_factor(n, content, confidence):
    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    reach = stats.ncx2.ppf(content, 1, nodes ** 2 / n)
    weights = weights / weights.sum()
    excess = lambda log_k: np.sum(weights * stats.chi2.sf((n - 1) * reach / math.exp(2 * log_k), n - 1)) - confidence
    return math.exp(optimize.brentq(excess, -3, 9, xtol=1e-14))


def between(x, ends, side, reached):
    """The interval between readings of the most spaces left out for which `reached` says enough; None where there is none."""
    fits = [cut for cut in range(ends, len(x) + 1) if reached(cut)]
    if not fits:
        return None
    cut = max(fits)
    below = {"both": cut // 2, "lower": cut, "upper": 0}[side]
    ordered, half = np.sort(x), STEP / 2
    want = {}
    if side != "upper":
        want["low"] = ordered[below - 1] - half
    if side != "lower":
        want["high"] = ordered[len(x) - (cut - below)] + half
    return want


def tolerant(x, side, content, confidence):
    n, mean = len(x), x.mean()
    sd = max(x.std(ddof=1), STEP / math.sqrt(12))
    ends = 2 if side == "both" else 1
    if side == "both":
        k = two_sided_factor(n, content, confidence)
    else:
        k = stats.nct.ppf(confidence, n - 1, stats.norm.ppf(content) * math.sqrt(n)) / math.sqrt(n)
    next_k = stats.t.isf((1 - confidence) / ends, n - 1) * math.sqrt(1 + 1 / n)
    want = {"tolerance_k": k, "prediction_k": next_k}
    for name, factor in (("tolerance", k), ("prediction", next_k)):
        if side != "upper":
            want[f"{name}_low"] = mean - factor * sd
        if side != "lower":
            want[f"{name}_high"] = mean + factor * sd
    found = between(x, ends, side, lambda cut: stats.binom.cdf(n - cut, n, content) >= confidence)
    following = between(x, ends, side, lambda cut: (n + 1 - cut) / (n + 1) >= confidence - 1e-12)
    for name, of in (("any", found), ("any_prediction", following)):
        want |= {f"{name}_{end}": value for end, value in (of or {}).items()}
    return want


def planned(number, random):
    """Sizes of planned studies: enough pieces, one fewer is not, and the probability is that of an independent formula."""
    power = float(random.choice([0.8, 0.9]))

    def check(what, arguments, of, step=1, fewest=2):
        got = plan([what, "--power", f"{100 * power:g}", "--most", "1000000", *arguments])
        n = got["pieces"] // step
        assert of(n) >= power and (n <= fewest or of(n - 1) < power), f"set {number}, plan {what} {arguments}: {n}"
        return differ(number, f"plan {what}", got, {"probability": 100 * of(n)})

    truth = round(random.uniform(1.45, 2.2), 3)

    def capable_by(n):
        border = stats.nct.ppf(0.95, n - 1, 3 * math.sqrt(n) * 1.33)
        return stats.nct.sf(border, n - 1, 3 * math.sqrt(n) * truth)

    d = int(random.integers(5, 25))

    def different_by(n):
        t, shift = stats.t.isf(0.025, 2 * n - 2), d / 10 * math.sqrt(n / 2)
        return stats.nct.sf(t, 2 * n - 2, shift) + stats.nct.cdf(-t, 2 * n - 2, shift)

    worst = check("capability", ["--index", str(truth), "--one-sided"], capable_by, fewest=20)
    sizes = ["--difference", f"0.{d:03} mm", "--sd", "0.01 mm"]
    worst = max(worst, check("comparison", sizes, different_by, step=2))
    aql, limiting = round(random.uniform(0.2, 4), 2), round(random.uniform(6, 25), 2)
    points = ["--aql", str(aql), "--limiting", str(limiting)]
    got = plan(["sampling", *points])
    n, count = got["normal_pieces"], got["normal_accept"]
    good, bad = (stats.binom.cdf(count, n, share / 100) for share in (aql, limiting))
    assert good >= 0.95 and bad <= 0.1, f"set {number}: {got}"
    worst = max(worst, differ(number, "sampling", got, {"aql_accepted": 100 * good, "limiting_accepted": 100 * bad}))
    got = plan(["sampling", *points, "--kind", "variables"])
    n, root = got["normal_pieces"], math.sqrt(got["normal_pieces"])
    k = stats.nct.ppf(0.05, n - 1, stats.norm.isf(aql / 100) * root) / root
    bad = stats.nct.sf(k * root, n - 1, stats.norm.isf(limiting / 100) * root)
    assert bad <= 0.1, f"set {number}: {got}"
    return max(worst, differ(number, "sampling", got, {"normal_k": k, "limiting_accepted": 100 * bad}))


def several(number, random, folder):
    """All groups together: the analysis of variance, and the least of it that means have which rounding may have moved."""
    sizes = random.integers(2, 13, int(random.integers(3, 6)))
    sigma = random.choice([0.3, 0.5, 1.0, 2.0])
    parts = [np.rint(random.normal(random.uniform(160, 164), sigma, size)).astype(int) for size in sizes]
    write(folder, np.concatenate(parts).tolist(), np.repeat(list("abcde")[:len(sizes)], sizes))
    got = study(folder, "compare", "--group", "group")
    parts = [part / 100 for part in parts]
    if max(part.std() for part in parts) <= 1e-12:
        return 0.0
    if "lag-1" in got.get("undefined", {}).get("anova_f", ""):
        # By shuffles; of few readings a small lag-1 may be one, since the expected one is under 0.
        assert any(lag1(part) > 0 for part in parts if part.std() > 1e-12), got
        return 0.0
    own = stats.f_oneway(*parts)
    within = sum(np.sum((part - part.mean()) ** 2) for part in parts) / (sizes.sum() - len(sizes))
    means = np.array([part.mean() for part in parts])
    off = np.array([STEP / 2 if part.std(ddof=1) < STEP / 2 - 1e-12 else 0.0 for part in parts])
    away = lambda at: np.sum(sizes * np.maximum(np.abs(at - means) - off, 0) ** 2)
    found = optimize.minimize_scalar(away, bounds=(means.min() - STEP, means.max() + STEP), method="bounded",
                                     options={"xatol": 1e-12})
    lowest = found.fun / (len(sizes) - 1) / within if off.any() else own.statistic
    want = {"anova_f": own.statistic, "anova_f_lowest": lowest,
            "anova_p": stats.f.sf(lowest, len(sizes) - 1, sizes.sum() - len(sizes))}
    return differ(number, "compare, all groups", got, want)


def beyond_both(number, random, folder):
    """A lot by variables of two limits: the share beyond both together by the incomplete beta function."""
    points = ["--aql", str(round(random.uniform(0.2, 4), 2)), "--limiting", str(round(random.uniform(6, 25), 2)),
              "--kind", "variables"]
    got = plan(["sampling", *points])
    n, k = got["normal_pieces"], got["normal_k"]
    microns = np.rint(random.normal(random.uniform(1600, 1640), random.uniform(15, 30), n)).astype(int)
    table(folder, "lot.csv", "value,lot", ((f"{at // 1000}.{at % 1000:03}", "one") for at in microns))
    lot = of_file(folder, "lot.csv", "lots", "--column", "value", "--unit", "mm", "--group", "lot",
                  "--spec", "1.62 ±0.05 mm", "--combined", *points)["lots"][0]
    said = re.findall(r"([0-9.]+) %", lot.get("result", ""))
    if len(said) != 2:
        assert stats.shapiro(microns).pvalue < 0.05, f"set {number}: {lot}"
        return 0.0
    half, x = n / 2 - 1, microns / 1000
    share = lambda q: special.betainc(half, half, np.clip(0.5 * (1 - q * math.sqrt(n) / (n - 1)), 0, 1))
    sd = x.std(ddof=1)
    both, most = share((x.mean() - LOWER) / sd) + share((UPPER - x.mean()) / sd), share(k)
    for word, value in zip(said, (both, most)):
        assert abs(float(word) - 100 * value) <= 5.0001e-5, f"set {number}: {lot}, want {100 * value}"
    assert abs(both - most) < 1e-9 or lot["accepted"] == (both < most), f"set {number}: {lot}"
    return 0.0


def plan(arguments):
    command = [TALLYJAW, "study", "plan", *arguments, "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise SystemExit(f"{command}: {done.returncode}\n{done.stderr}")
    return json.loads(done.stdout)


def table(folder, name, heading, rows):
    with open(os.path.join(folder, name), "w", encoding="utf-8") as file:
        file.write(heading + "\n")
        file.writelines(",".join(str(cell) for cell in row) + "\n" for row in rows)


def straight(x, y):
    """The figures of a straight line, and its tolerance bound as a function of x."""
    n = len(x)
    line = api.OLS(y, api.add_constant(x)).fit()
    (intercept, slope), bounds = line.params, line.conf_int()
    sd = math.sqrt(line.mse_resid)
    want = {"n": n, "slope": slope, "slope_low": bounds[1][0], "slope_high": bounds[1][1], "slope_p": line.pvalues[1],
            "intercept": intercept, "intercept_low": bounds[0][0], "intercept_high": bounds[0][1], "residual_sd": sd,
            "r_squared": line.rsquared}
    levels = np.unique(x)
    pure = sum(np.sum((y[x == at] - y[x == at].mean()) ** 2) for at in levels)
    between, within = len(levels) - 2, n - len(levels)
    if between > 0 and within > 0 and pure > 0:
        f = (line.ssr - pure) / between / (pure / within)
        want |= {"lack_of_fit_f": f, "lack_of_fit_p": stats.f.sf(f, between, within),
                 "pure_error_sd": math.sqrt(pure / within)}

    def bound(at, content, confidence):
        root = math.sqrt(1 / n + (at - x.mean()) ** 2 / np.sum((x - x.mean()) ** 2))
        factor = stats.nct.ppf(confidence, n - 2, stats.norm.ppf(content) / root) * root
        return intercept + slope * at - factor * sd
    return want, bound


def regression(number, random, folder):
    n = int(random.integers(5, 61))
    x = random.integers(150, 150 + int(random.integers(3, 16)), n) / 100
    x[:2] = 1.50, 1.52
    y = np.rint(200 - random.choice([0, 200, 400]) * (x - 1.55) + random.normal(0, 4, n))
    table(folder, "pairs.csv", "force,height", zip(y.astype(int), (f"{at:.2f}" for at in x)))
    lowest = int(np.quantile(y, 0.3)) - 12
    got = of_file(folder, "pairs.csv", "regression", "--column", "force", "--unit", "N", "--x", "height", "--x-unit", "mm",
                  "--spec", f">= {lowest} N", "--content", "95", "--confidence", "90")
    want, bound = straight(x, y)
    worst = differ(number, "regression", got, want)
    if got["shown"]:
        for end, out in (("keeps_from", -0.01), ("keeps_to", 0.01)):
            at = got[end]
            inside = bound(at, 0.95, 0.9) >= lowest - 1e-6
            beyond = bound(at + out, 0.95, 0.9) < lowest + 1e-6 or not x.min() <= round(at + out, 2) <= x.max()
            if not (inside and beyond):
                raise SystemExit(f"set {number}, regression: {end} is {at}, bound {bound(at, 0.95, 0.9)}, limit {lowest}")
    return worst


def components(y, columns):
    """Henderson's method 3 by projections."""
    n = len(y)
    dummies = [(np.unique(column, return_inverse=True)[1][:, None] == np.arange(len(np.unique(column)))).astype(float)
               for column in columns]
    known, rank = np.ones((n, 1)), 1
    hat = known @ np.linalg.pinv(known)
    sources = []
    for dummy in dummies:
        known = np.hstack([known, dummy])
        more = known @ np.linalg.pinv(known, rcond=1e-10)
        own = more - hat
        freedom = int(np.linalg.matrix_rank(known)) - rank
        sources.append((y @ own @ y, freedom, [np.trace(other.T @ own @ other) for other in dummies]))
        hat, rank = more, rank + freedom
    rest = (y @ y - y @ hat @ y) / (n - rank)
    variances = [0.0] * len(dummies)
    for at in reversed(range(len(dummies))):
        squares, freedom, expected = sources[at]
        if freedom:
            later = sum(expected[one] * variances[one] for one in range(at + 1, len(dummies)))
            variances[at] = (squares - freedom * rest - later) / expected[at]
    found = [{"df": freedom, "ms": squares / freedom, "variance": variance}
             for (squares, freedom, _), variance in zip(sources, variances) if freedom]
    return [*found, {"df": n - rank, "ms": rest, "variance": rest}]


def factors(number, random, folder):
    n = int(random.integers(14, 61))
    tool = random.integers(0, int(random.integers(2, 5)), n)
    person = random.integers(0, int(random.integers(2, 4)), n)
    tool[:4], person[:4] = (0, 0, 1, 1), (0, 1, 0, 1)
    shift = random.normal(0, 2, 5)[tool] + random.normal(0, 1, 4)[person]
    y = np.rint(162 + shift + random.normal(0, 1.5, n)).astype(int)
    table(folder, "factors.csv", "value,tool,person", zip((f"{at // 100}.{at % 100:02}" for at in y), tool, person))
    got = of_file(folder, "factors.csv", "factors", "--column", "value", "--unit", "mm", "--by", "tool,person")["sources"]
    y = y / 100 - 1.62
    want = components(y, [tool, person, tool * 10 + person])
    got = [source for source in got if "ms" in source]
    if len(got) != len(want):
        raise SystemExit(f"set {number}, factors: {len(got)} sources, want {len(want)}")
    return max(differ(number, "factors", *both) for both in zip(got, want))


def agreement(number, random, folder):
    n, people = int(random.integers(4, 61)), int(random.integers(2, 5))
    truth = random.integers(0, int(random.integers(2, 4)), n)
    said = np.where(random.random((people, n)) < 0.8, truth, random.integers(0, 3, (people, n)))
    table(folder, "looks.csv", "part,appraiser,answer",
          ((part, person, f"answer{said[person][part]}") for part in range(n) for person in range(people)))
    got = of_file(folder, "looks.csv", "agreement", "--column", "answer")
    counts = np.array([[int(np.sum(said[:, part] == word)) for word in np.unique(said)] for part in range(n)])
    worst = 0.0
    if people > 2 and len(np.unique(said)) > 1:
        want = {"kappa": inter_rater.fleiss_kappa(counts), "items": n}
        worst = differ(number, "agreement", got["together"], want)
    words = np.unique(said[:2])
    if len(words) > 1:
        pair = [[int(np.sum((said[0] == a) & (said[1] == b))) for b in words] for a in words]
        worst = max(worst, differ(number, "agreement", got["between"][0], {"kappa": inter_rater.cohens_kappa(pair).kappa}))
    return worst


def autocorrelated(x):
    """The mean of readings that depend on each other: effective number and interval."""
    n, mean, sd = len(x), x.mean(), x.std(ddof=1)
    if n < 50 or sd <= 1e-12:
        return {}
    phi = min(max((n * lag1(x) + 1) / (n - 4), 0), 0.98)
    tau = 1 + 2 * sum((1 - k / n) * phi ** k for k in range(1, n))
    want = {"effective_n": n / tau}
    if n / tau >= 10.001:
        reach = stats.t.ppf(0.975, n / tau - 1) * sd * math.sqrt((n - 1) / (n - tau) * tau / n)
        want |= {"mean_correlated_low": mean - reach, "mean_correlated_high": mean + reach}
    return want


def fitted(x, family):
    """The distribution by scipy, and the indices by quantiles that follow."""
    logs = np.log(x)
    if family == "lognormal":
        member = stats.lognorm(logs.std(ddof=1), scale=math.exp(logs.mean()))
    elif family == "weibull":
        shape = optimize.brentq(lambda k: np.sum(x ** k * logs) / np.sum(x ** k) - 1 / k - logs.mean(), 0.05, 80,
                                xtol=1e-14)
        member = stats.weibull_min(shape, scale=np.mean(x ** shape) ** (1 / shape))
    else:
        square = np.mean(x * x)
        place = 0.0
        if np.mean(x ** 4) < 3 * square ** 2:
            off = lambda a: a - np.mean(x * np.tanh(x * a / (square - a * a)))
            place = optimize.brentq(off, 1e-3 * math.sqrt(square), math.sqrt(square) * (1 - 1e-9), xtol=1e-15)
        sd = math.sqrt(square - place ** 2)
        member = stats.foldnorm(place / sd, scale=sd)
    low, mid, high = member.ppf([stats.norm.cdf(-3), 0.5, stats.norm.cdf(3)])
    return {"x_0_135": low, "x_50": mid, "x_99_865": high, "ppk": (0.6 - mid) / (high - mid),
            "ppm_above": 1e6 * member.sf(0.6)}


def between_readings(x):
    """Quantile and order statistics of any distribution."""
    n, ordered = len(x), np.sort(x)
    want = {"x_50": np.quantile(x, 0.5, method="weibull")}
    rank = int(stats.binom.ppf(0.025, n, 0.5))
    if stats.binom.cdf(rank, n, 0.5) > 0.025:
        rank -= 1
    if rank >= 0:
        want |= {"x_50_low": ordered[rank], "x_50_high": ordered[n - 1 - rank]}
    return want


def skewed(number, folder, random):
    """Readings that are not normal, by each distribution."""
    n = int(random.integers(3, 61))
    hundredths = np.maximum(1, np.rint(np.exp(random.normal(3, random.choice([0.2, 0.5]), n)))).astype(int)
    write(folder, hundredths.tolist(), ["a"] * n)
    x = hundredths / 100
    if x.std() <= 1e-12:
        return 0.0
    spec = ["--spec", "<= 0.60 mm"]
    # one distribution a set: the simulated bounds of each take a while
    family = ["lognormal", "weibull", "folded_normal"][number % 3]
    worst = differ(number, family, study(folder, "capability", "--distribution", family, spec=spec), fitted(x, family))
    free = study(folder, "capability", "--distribution", "percentile", spec=spec)
    return max(worst, differ(number, "percentile", free, between_readings(x)))


BENCH = """[[station]]
name = "bench-1"
[[instrument]]
name = "caliper-1"
station = "bench-1"
kind = "caliper"
port = "/dev/serial/by-id/usb-1"
format = "decimal-line"
resolution = "0.01 mm"
[[uncertainty]]
name = "caliper-1/now"
instrument = "caliper-1"
"""


def budgeted(number, folder, random):
    """A random uncertainty budget."""
    text, squares, terms = BENCH, 0.0, 0.0
    for _ in range(int(random.integers(1, 8))):
        microns = int(random.integers(1, 40))
        form = int(random.integers(0, 3))
        freedom = int(random.integers(2, 60)) if random.random() < 0.6 else None
        text += f'[[uncertainty.contribution]]\nsource = "other"\n'
        if form == 0:
            shape, divisor = [("rectangular", 3), ("triangular", 6), ("u_shaped", 2)][int(random.integers(0, 3))]
            text += f'half_width = "{microns} um"\nshape = "{shape}"\n'
            square = microns ** 2 / divisor
        elif form == 1:
            text += f'expanded = "{microns} um"\ncoverage = 2.5\n'
            square = (microns / 2.5) ** 2
        else:
            text += f'standard = "{microns} um"\n'
            square = microns ** 2
        squares += square
        if freedom:
            text += f"degrees_of_freedom = {freedom}\n"
            terms += square ** 2 / freedom
    path = os.path.join(folder, "tallyjaw.toml")
    with open(path, "w", encoding="utf-8") as file:
        file.write(text)
    command = [TALLYJAW, "--config", path, "study", "uncertainty", "--trials", "1000", "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise SystemExit(f"{command}: {done.returncode}\n{done.stderr}\n{text}")
    u = math.sqrt(squares) / 1000
    factor = stats.norm.ppf(0.975)
    want = {"u": u}
    if terms:
        want["degrees_of_freedom"] = squares ** 2 / terms
        factor = stats.t.ppf(0.975, math.floor(want["degrees_of_freedom"] * (1 + 1e-12)))
    want |= {"coverage": factor, "expanded": factor * u}
    return differ(number, "uncertainty", json.loads(done.stdout), want)


def differ(number, what, got, want):
    worst = 0.0
    for name, value in want.items():
        if value is None:
            continue
        value = float(value)
        if name not in got:
            raise SystemExit(f"set {number}, {what}: no {name}, want {value} ({got.get('undefined')})")
        # sums in floats leave their own dust around zero, which exact sums do not have
        allowed = 1e-8 * abs(value) + 1e-10
        off = abs(got[name] - value)
        if off > allowed:
            raise SystemExit(f"set {number}, {what}: {name} is {got[name]!r}, want {value!r}")
        worst = max(worst, off / allowed)
    return worst


def check(number):
    random = np.random.default_rng([9, number])
    n = int(random.integers(3, 61))
    sigma = random.choice([0.0, 0.5, 1.0, 2.0, 4.0])
    hundredths = np.rint(random.normal(random.uniform(159, 165), sigma, n)).astype(int)
    split = int(random.integers(2, n)) if n > 3 else None
    groups = ["a" if split is None or at < split else "b" for at in range(n)]
    x = hundredths / 100
    worst = 0.0
    with tempfile.TemporaryDirectory() as folder:
        write(folder, hundredths.tolist(), groups)
        worst = max(worst, differ(number, "describe", study(folder, "describe"), described(x) | autocorrelated(x)))
        worst = max(worst, differ(number, "capability", study(folder, "capability"), capable(x)))
        worst = max(worst, differ(number, "drift", study(folder, "drift", "--place", "place"), drifting(x)))
        side = str(random.choice(["both", "lower", "upper"]))
        content, confidence = int(random.choice([50, 90, 99])), int(random.choice([80, 90, 95]))
        intervals = ["--side", side, "--content", str(content), "--confidence", str(confidence)]
        want = tolerant(x, side, content / 100, confidence / 100)
        worst = max(worst, differ(number, "tolerance", study(folder, "tolerance", *intervals), want))
        if split is not None and n - split >= 2:
            got = study(folder, "compare", "--group", "group", "--margin", "0.02 mm")["comparisons"][0]
            parts = x[:split], x[split:]
            if refused(got, *parts):
                REFUSED.append(number)
            else:
                worst = max(worst, differ(number, "compare", got, compared(*parts)))
        worst = max(worst, skewed(number, folder, random), budgeted(number, folder, random))
        worst = max(worst, *(one(number, random, folder) for one in (regression, factors, agreement, several, beyond_both)))
    return max(worst, planned(number, random))


def main():
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        worst = max(pool.map(check, range(SETS)))
    assert len(REFUSED) < SETS / 20 + 3, f"refused as autocorrelated, which they are not: {REFUSED}"
    print(f"{len(REFUSED)} comparisons of independent readings were refused as autocorrelated")
    print(f"{SETS} sets: every figure agrees; the largest difference is {worst:.2f} of what is allowed")


main()

"""The same estimates by general-purpose libraries.

Reads a list of tasks as JSON from a file: each has a name, a kind and data. Writes an object of
results by name. Every kind below is computed by another library than the program's, or from the
definition, and never by a port of its code.
"""

import itertools
import json
import math
import sys

import numpy as np
import statsmodels.api as sm
from firthmodels import FirthLogisticRegression
from scipy import optimize, stats
from sklearn.metrics import roc_auc_score, roc_curve
from sksurv.nonparametric import (
    cumulative_incidence_competing_risks,
    kaplan_meier_estimator,
)
from statsmodels.duration.survfunc import SurvfuncRight, survdiff
from statsmodels.stats.meta_analysis import combine_effects
from statsmodels.stats.outliers_influence import variance_inflation_factor
from statsmodels.stats.proportion import proportion_confint


def proportion(t):
    low, high = proportion_confint(t["events"], t["n"], 1 - t["level"], "beta")
    a, b = proportion_confint(t["events"], t["n"], 1 - t["level"], "wilson")
    return {"low": low, "high": high, "wilson_low": a, "wilson_high": b}


def clustered(t):
    """Variance of a mean that respects clusters, by least squares; then the effective number."""
    event, patient = np.array(t["event"], float), np.array(t["patient"])
    n, m = len(event), len(set(t["patient"]))
    plain = {"groups": patient, "use_correction": False}
    fit = sm.OLS(event, np.ones(n)).fit(cov_type="cluster", cov_kwds=plain)
    variance = float(fit.cov_params()[0, 0]) * m / (m - 1)
    p = event.mean()
    few = (stats.t.ppf(0.975, n - 1) / stats.t.ppf(0.975, m - 1)) ** 2
    effective = min(p * (1 - p) / variance * few, n)
    low, high = proportion_confint(p * effective, effective, 0.05, "beta")
    return {"effective": effective, "low": float(low), "high": float(high)}


def centres(t):
    """Random effects of DerSimonian and Laird ("chi2"); intervals of Student's distribution by hand."""
    effect, error = np.array(t["effect"]), np.array(t["error"])
    found = combine_effects(effect, error**2, method_re="chi2")
    k = len(effect)
    # The library keeps a variance between centres below 0; the summary is then that of one effect.
    if found.tau2 > 0:
        mean, sd = found.mean_effect_re, found.sd_eff_w_re
        scatter = found.sd_eff_w_re_hksj / sd
    else:
        mean, sd = found.mean_effect_fe, found.sd_eff_w_fe
        scatter = math.sqrt(found.q / (k - 1))
    out = {
        "effect": mean,
        "error": sd,
        "tau_2": max(0.0, found.tau2),
        "q": found.q,
        "p": stats.chi2.sf(found.q, k - 1),
        "i_2": max(0.0, found.i2),
        "high": mean + stats.t.ppf(0.975, k - 1) * sd * max(1.0, float(scatter)),
    }
    if k > 2:
        far = stats.t.ppf(0.975, k - 2) * math.sqrt(out["tau_2"] + out["error"] ** 2)
        out["next"] = out["effect"] + far
    return {name: float(value) for name, value in out.items()}


def rank_sum(t):
    a, b = np.array(t["a"]), np.array(t["b"])
    exact = len(set(t["a"] + t["b"])) == len(t["a"] + t["b"]) and max(len(a), len(b)) < 50
    method = "exact" if exact else "asymptotic"
    found = stats.mannwhitneyu(a, b, method=method)
    out = {"u": found.statistic, "p": found.pvalue}
    out["shift"] = float(np.median(np.subtract.outer(a, b)))
    # The interval holds the shifts that the test does not refuse: p beside each of its ends.
    for name, end, inward in (("low", t["low"], 1), ("high", t["high"], -1)):
        for side, step in (("inside", inward), ("outside", -inward)):
            moved = stats.mannwhitneyu(a - end - step * 1e-9, b, method=method)
            out[f"p_{side}_{name}"] = moved.pvalue
    return out


def kruskal(t):
    found = stats.kruskal(*t["groups"])
    return {"h": found.statistic, "p": found.pvalue}


def spearman(t):
    found = stats.spearmanr(t["x"], t["y"])
    rho, n = found.statistic, len(t["x"])
    reach = stats.norm.ppf(0.975) * math.sqrt((1 + rho**2 / 2) / (n - 3))
    z = np.arctanh(rho)
    return {
        "rho": rho,
        "p": found.pvalue,
        "low": np.tanh(z - reach),
        "high": np.tanh(z + reach),
    }


def outlying(t):
    x, y = np.array(t["x"]), np.array(t["y"])
    off = y - stats.theilslopes(y, x).slope * x
    off = off - np.median(off)
    scores = off / stats.median_abs_deviation(off, center=lambda a, axis: np.zeros(()), scale="normal")
    return {str(i): float(s) for i, s in enumerate(scores)}


def fisher(t):
    odds = stats.contingency.odds_ratio(t["table"], kind="conditional")
    interval = odds.confidence_interval(0.95)
    return {
        "p": stats.fisher_exact(t["table"]).pvalue,
        "odds": odds.statistic,
        "low": interval.low,
        "high": interval.high,
    }


def fisher_rows(t):
    """All tables of the margins by counting, in whole numbers."""
    rows, events = [a + b for a, b in t["rows"]], sum(a for a, _ in t["rows"])
    ways = lambda cells: math.prod(math.comb(n, k) for n, k in zip(rows, cells))
    observed = ways([a for a, _ in t["rows"]])
    all_cells = itertools.product(*(range(n + 1) for n in rows))
    extreme = sum(w for w in (ways(c) for c in all_cells if sum(c) == events) if w <= observed)
    return {"p": extreme / math.comb(sum(rows), events)}


def describe(t):
    v = np.array(t["values"])
    low, middle, high = np.percentile(v, [25, 50, 75])
    return {"mean": v.mean(), "sd": v.std(ddof=1), "low": low, "median": middle, "high": high}


def difference(t):
    a, b = np.array(t["a"]), np.array(t["b"])
    return {"d": (a.mean() - b.mean()) / math.sqrt((a.var(ddof=1) + b.var(ddof=1)) / 2)}


def shares(t):
    counts = np.array(t["counts"], float)
    counts = counts[counts.sum(axis=1) > 0]
    p, q = (counts / counts.sum(axis=0)).T
    p, q = p[1:], q[1:]
    s = (np.diag(p) - np.outer(p, p) + np.diag(q) - np.outer(q, q)) / 2
    return {"d": math.sqrt((p - q) @ np.linalg.pinv(s) @ (p - q))}


def penalised(x, y, beta):
    """Penalised log likelihood and its score (Firth 1993)."""
    odds = x @ beta
    p = 1 / (1 + np.exp(-odds))
    w = p * (1 - p)
    information = (x.T * w) @ x
    sign, log_determinant = np.linalg.slogdet(information)
    if sign <= 0:
        return -1e12, np.zeros(len(beta))
    plain = np.sum(np.where(y > 0, -np.logaddexp(0, -odds), -np.logaddexp(0, odds)))
    leverage = w * np.einsum("ij,jk,ik->i", x, np.linalg.inv(information), x)
    return plain + 0.5 * log_determinant, x.T @ (y - p + leverage * (0.5 - p))


def maximum(x, y, held=(), value=0.0, offered=()):
    """Largest penalised likelihood, by a general optimiser that knows no scoring."""
    free = [k for k in range(x.shape[1]) if k not in held]

    def full(part):
        beta = np.zeros(x.shape[1])
        beta[free] = part
        beta[list(held)] = value
        return beta

    def loss(part):
        value, score = penalised(x, y, full(part))
        return -value, -score[free]

    # From what is offered and from nothing: far along a profile some of them get stuck.
    starts = [np.zeros(len(free))] + [np.array(start)[free] for start in offered]
    tries = [
        optimize.minimize(loss, first, jac=True, method="BFGS", options={"gtol": 1e-10, "maxiter": 2000})
        for first in starts
    ]
    best = min(tries, key=lambda found: found.fun)
    return full(best.x), -best.fun


def standard(columns):
    raw = np.column_stack([np.array(c, float) for c in columns])
    mean, scale = raw.mean(axis=0), raw.std(axis=0)
    return raw, mean, scale, (raw - mean) / scale


def firth(t):
    """Firth's model by a package, and intervals of all coefficients from the definition."""
    raw, mean, scale, z = standard(t["columns"])
    y = np.array(t["event"], float)
    x = np.column_stack([np.ones(len(y)), z])
    # The package runs until nothing moves; in standardised units, so that huge ones end too.
    model = FirthLogisticRegression(max_iter=2000, gtol=1e-10, xtol=1e-12).fit(z, y)
    beta, top = maximum(x, y)
    limit = stats.chi2.ppf(0.95, 1) / 2
    # Standard errors of the plain information; the package has those of augmented data.
    share = model.predict_proba(z)[:, 1]
    covariance = np.linalg.inv((x.T * (share * (1 - share))) @ x)
    back = np.concatenate([[1.0], -mean / scale])
    out = {
        "intercept": float(model.intercept_) + float(back[1:] @ model.coef_),
        "intercept_error": math.sqrt(back @ covariance @ back),
    }
    for k in range(z.shape[1]):
        error = math.sqrt(covariance[k + 1, k + 1])

        def beyond(value, k=k):
            # Where outcomes are parted the other coefficients grow in step with the one held.
            ray = beta * (value / beta[k + 1]) if beta[k + 1] else beta
            return top - maximum(x, y, (k + 1,), value, (beta, ray))[1] - limit

        def end(sign):
            reach = 2 * error
            while beyond(beta[k + 1] + sign * reach) < 0:
                reach *= 1.5
            return optimize.brentq(beyond, *sorted([beta[k + 1], beta[k + 1] + sign * reach]), xtol=1e-10)

        ratio = 2 * (top - maximum(x, y, (k + 1,), 0.0, (beta,))[1])
        out |= {
            f"slope{k}": model.coef_[k] / scale[k],
            f"again{k}": beta[k + 1] / scale[k],
            f"error{k}": error / scale[k],
            f"low{k}": end(-1) / scale[k],
            f"high{k}": end(1) / scale[k],
            f"ratio{k}": ratio,
            f"p{k}": stats.chi2.sf(ratio, 1),
        }
    # Intercept of plain likelihood with the rest as offset: the mean risk is the rate.
    offset = z @ model.coef_
    glm = sm.GLM(y, np.ones(len(y)), family=sm.families.Binomial(), offset=offset).fit(tol=1e-12)
    out["risk_intercept"] = float(glm.params[0]) + float(back[1:] @ model.coef_)
    # Discrimination and calibration of the risks.
    odds = z @ model.coef_
    out["area"] = roc_auc_score(y, np.round(odds, 10))
    if t["calibrated"]:
        plain = sm.GLM(y, sm.add_constant(odds), family=sm.families.Binomial()).fit(tol=1e-12)
        out["calibration"] = float(plain.params[1])
    # One column is inflated by nothing.
    out |= {
        f"inflation{k}": variance_inflation_factor(x, k + 1) if z.shape[1] > 1 else 1.0
        for k in range(z.shape[1])
    }
    return out


def without(t):
    """Slopes without each patient, from the definition."""
    raw, mean, scale, z = standard(t["columns"])
    y, patient = np.array(t["event"], float), np.array(t["patient"])
    x = np.column_stack([np.ones(len(y)), z])
    beta, _ = maximum(x, y)
    out = {}
    for p in sorted(set(t["patient"])):
        kept = patient != p
        if 0 < y[kept].sum() < kept.sum():
            found, _ = maximum(x[kept], y[kept], offered=(beta,))
            out[str(p)] = found[1] / scale[0]
    slopes = list(out.values())
    return {"lowest": min(slopes), "highest": max(slopes)} | out


def spline(t):
    """A restricted cubic spline by its definition, against the line."""
    x = np.array(t["columns"][0], float)
    k = np.quantile(x, t["places"])
    cube = lambda v: np.maximum(v, 0) ** 3
    bends = [
        (
            cube(x - a)
            - cube(x - k[-2]) * (k[-1] - a) / (k[-1] - k[-2])
            + cube(x - k[-1]) * (k[-2] - a) / (k[-1] - k[-2])
        )
        for a in k[:-2]
    ]
    *_, z = standard([x, *bends, *t["columns"][1:]])
    y = np.array(t["event"], float)
    design = np.column_stack([np.ones(len(y)), z])
    held = tuple(range(2, 2 + len(bends)))
    ratio = 2 * (maximum(design, y)[1] - maximum(design, y, held)[1])
    return {"ratio": ratio, "p": stats.chi2.sf(ratio, len(bends))}


def separated(t):
    """Whether a plane parts the outcomes, by a linear programme of another library."""
    *_, z = standard(t["columns"])
    sign = np.where(np.array(t["event"]), 1.0, -1.0)
    x = sign[:, None] * np.column_stack([np.ones(len(sign)), z])
    found = optimize.linprog(-x.sum(axis=0), A_ub=-x, b_ub=np.zeros(len(sign)), bounds=(-1, 1))
    return {"parts": 1.0 if -found.fun > 1e-6 else 0.0}


def survival(t):
    time, event = np.array(t["time"]), np.array(t["end"]) > 0
    at, share, band = kaplan_meier_estimator(event, time, conf_type="log-log")
    other = SurvfuncRight(time, event.astype(int))
    last = len(other.surv_times) - 1
    return {
        "time": at.tolist(),
        "share": share.tolist(),
        "low": band[0].tolist(),
        "high": band[1].tolist(),
        "last": float(other.surv_prob[last]),
        "error": float(other.surv_prob_se[t["step"]]),
        "error_at": float(other.surv_times[t["step"]]),
        "median": float(other.quantile(0.5)),
    }


def log_rank(t):
    time, event, group = (np.array(t[k]) for k in ("time", "event", "group"))
    chi, p = survdiff(time, event, group)
    return {"chi": chi, "p": p}


def incidence(t):
    time, end = np.array(t["time"]), np.array(t["end"])
    at, share, band = cumulative_incidence_competing_risks(
        end, time, conf_type="log-log", var_type="Dinse_Approx"
    )
    return {
        "time": at.tolist(),
        "event": share[1].tolist(),
        "competing": share[2].tolist(),
        "low": band[1][0].tolist(),
        "high": band[1][1].tolist(),
    }


def roc(t):
    low, high, cuts = roc_curve(t["event"], t["score"], drop_intermediate=False)
    best = int(np.argmax(np.round(high - low, 12)))
    return {
        "area": roc_auc_score(t["event"], t["score"]),
        "cut": float(cuts[best]),
        "youden": float(high[best] - low[best]),
    }


def agreement(t):
    """Limits of agreement; with patients of several values from a random-effects analysis of variance."""
    d, patient = np.array(t["difference"], float), np.array(t["patient"])
    names, sizes = np.unique(patient, return_counts=True)
    n, m = len(d), len(names)
    z = stats.norm.ppf(0.975)
    out = {}
    if m == n:
        mean, sd = d.mean(), d.std(ddof=1)
        low, high = stats.t.interval(0.95, n - 1, mean, stats.sem(d))
        error = sd * math.sqrt(1 / n + z**2 / (2 * (n - 1)))
        t975 = stats.t.ppf(0.975, n - 1)
        out = {"mean_low": low, "mean_high": high}
        for name, limit in (("lower", mean - z * sd), ("upper", mean + z * sd)):
            out[f"{name}_low"], out[f"{name}_high"] = limit - t975 * error, limit + t975 * error
    else:
        table = sm.stats.anova_lm(sm.OLS.from_formula("d ~ C(p)", {"d": d, "p": patient}).fit())
        between, within = table["mean_sq"]
        typical = (n - (sizes**2).sum() / n) / (m - 1)
        mean, sd = d.mean(), math.sqrt(within + max(0.0, (between - within) / typical))
    return out | {"mean": mean, "sd": sd, "lower": mean - z * sd, "upper": mean + z * sd}


KINDS = {f.__name__: f for f in (
    proportion, clustered, centres, rank_sum, kruskal, spearman, outlying, fisher, fisher_rows, describe, difference,
    shares, firth, without, spline, separated, survival, log_rank, incidence, roc,
    agreement,
)}


def plain(value):
    """Numbers as JSON has them; infinities and what is not a number as words."""
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    value = float(value)
    return value if math.isfinite(value) else str(value)


def main(path):
    with open(path, encoding="utf-8") as file:
        tasks = json.load(file)
    out = {}
    for task in tasks:
        found = KINDS[task["kind"]](task["data"])
        out[task["name"]] = {key: plain(value) for key, value in found.items()}
    json.dump(out, sys.stdout)


if __name__ == "__main__":
    main(sys.argv[1])

"""Makes the comparisons, shares and bands of a paper folder again with scipy and numpy, from the CSV
files behind the figures and the tables of the study. Arguments: folder of the paper, folder of the tables.
Prints how many numbers were compared."""

import csv
import sys
from pathlib import Path

import numpy as np
from scipy import stats

paper, tables = Path(sys.argv[1]), Path(sys.argv[2])


def rows(path):
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


compared = 0


def near(ours, theirs, what, tolerance=1e-9):
    global compared
    compared += 1
    if not np.isclose(float(ours), theirs, rtol=tolerance, atol=tolerance):
        sys.exit(f"{what}: {ours} here, {theirs} there")


def values(quantity, fractions):
    """Rows of the spread with that many fractions."""
    name = "_".join("".join(c.lower() if c.isalnum() else " " for c in quantity).split())
    found = rows(paper / "figures" / f"spread_{name}.csv")
    return [r for r in found if r["fractions"] == fractions]


for row in rows(paper / "comparisons.csv"):
    own = values(row["quantity"], row["fractions"])
    what = f"{row['quantity']} {row['method']} {row['first']} {row['second']}"
    of = lambda group: [float(r["value"]) for r in own if r["group"] == group]
    if row["estimate"] == "":
        assert row["remark"], what
    elif row["method"].startswith("rank sum"):
        a, b = of(row["first"]), of(row["second"])
        assert (len(a), len(b)) == (int(row["n_first"]), int(row["n_second"])), what
        near(row["estimate"], np.median(np.subtract.outer(a, b)), what)
        ties = len(set(a + b)) < len(a + b)
        method = "asymptotic" if ties else "exact"
        near(row["p"], stats.mannwhitneyu(a, b, method=method).pvalue, what)
    elif row["method"].startswith("Kruskal"):
        groups = [of(g) for g in sorted({r["group"] for r in own})]
        found = stats.kruskal(*groups)
        near(row["estimate"], found.statistic, what)
        near(row["p"], found.pvalue, what)
    else:
        pairs = [r for r in own if r["target_volume_cc"]]
        found = stats.spearmanr(
            [float(r["target_volume_cc"]) for r in pairs], [float(r["value"]) for r in pairs]
        )
        near(row["estimate"], found.statistic, what)
        near(row["p"], found.pvalue, what, 1e-7)

shares = rows(paper / "limit_shares.csv")
for row in shares:
    n, above = int(row["judged"]), int(row["above"])
    if n and row["interval_basis"] == "exact, Clopper and Pearson":
        low, high = stats.binomtest(above, n).proportion_ci(0.95, "exact")
        near(row["low"], low, row)
        near(row["high"], high, row)
    if row["fisher_p"]:
        keys = ["structure", "metric", "limit", "tier", "limit_source", "fractions"]
        rest = [r for r in shares if all(r[k] == row[k] for k in keys) and r is not row]
        others = sum(int(r["above"]) for r in rest), sum(int(r["judged"]) for r in rest)
        table = [[above, n - above], [others[0], others[1] - others[0]]]
        near(row["fisher_p"], stats.fisher_exact(table).pvalue, row)

curves = {}
for row in rows(tables / "dvh.csv"):
    key = row["structure"], row["plan_id"]
    curves.setdefault(key, []).append((float(row["dose_gy"]), float(row["volume_cc"])))
plans = {r["plan_id"]: r for r in rows(tables / "plans.csv")}
covered = {
    (r["organ"], r["plan_id"]) for r in rows(paper / "completeness.csv") if r["state"] == "covered"
}
for file in sorted((paper / "figures").glob("dvh_*.csv")):
    bands = rows(file)
    for row in bands:
        group, fractions = row["group"], row["fractions"]
        own = [
            plan
            for organ, plan in covered
            if organ == row["structure"]
            and plans[plan]["technology"] == group
            and plans[plan]["fractions_planned"] == fractions
        ]
        assert len(own) == int(row["plans"]), (row, own)
        dose = float(row["dose_gy"])
        last = max(float(r["dose_gy"]) for r in bands if (r["group"], r["fractions"]) == (group, fractions))
        if dose == last:
            continue
        at = []
        for plan in own:
            x, y = zip(*curves[row["structure"], plan])
            at.append(np.interp(dose, x, y, right=0.0) if dose <= x[-1] else 0.0)
        for name, percent in [("p05_cc", 5), ("p25_cc", 25), ("median_cc", 50), ("p95_cc", 95)]:
            near(row[name], np.percentile(at, percent), f"{file.name} {row}")

print(compared, "numbers compared and equal")

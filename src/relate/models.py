"""Models of one relation that citable software fits: cause-specific Cox and estimating equations.
@CAUTION@

Reads subjects.csv beside this script and writes models.csv there, which the next run of `tidydose
relate` and `tidydose paper` show. Needs Python with pandas, statsmodels and lifelines. A library that is
missing leaves a row that says so. The model of Fine and Gray is in neither library: models.R has it.

    python models.py
"""

import math
import warnings
from importlib import metadata
from pathlib import Path

import numpy as np
import pandas as pd

event = @EVENT@
grain = @GRAIN@
doubling = @DOUBLING@
# Columns of subjects.csv, and what they hold.
columns = [@COLUMNS@]
terms = [@TERMS@]
# Which subjects.csv this was written for.
relation = @RELATION@
script = "models.py"

folder = Path(__file__).resolve().parent
subjects = pd.read_csv(folder / "subjects.csv", keep_default_na=False, na_values=[""])


def truth(column):
    return column.astype(str).str.lower() == "true"


names = [f"x{k + 1}" for k in range(len(columns))]
values = pd.DataFrame({n: pd.to_numeric(subjects[c]) for n, c in zip(names, columns)})
if doubling:
    values["x1"] = np.log2(values["x1"])
known = values.notna().all(axis=1)
analysed = truth(subjects["analysed"]) & known
# Who is left out for a short follow-up only was followed that long, and counts over time.
timed = subjects["days"].notna() & known


def take(which):
    data = values[which].copy()
    data["patient"] = subjects["patient_id"][which].astype(str)
    data["event"] = truth(subjects["event"][which]).astype(int)
    data["ended"] = subjects["ended"][which]
    days = pd.to_numeric(subjects["days"][which])
    looked = pd.to_numeric(subjects["days_looked"][which])
    # The dead are at risk of an event on images until their last imaging.
    seen = np.where((data["ended"] == "event") | looked.isna(), days, np.minimum(looked, days))
    data["seen"] = np.maximum(seen, 0.5)
    # Rows of a patient stand together: estimating equations want that.
    return data.sort_values("patient", kind="stable")


rows = []


def fit(model, measure, library, data, happened, work):
    """Fits with `work`, which gives log estimates, their standard errors and p of the predictors that it
    is given. Whatever it says stands in the rows: a model that fails is a row with its reason. A
    predictor that is the same for all rows says nothing: it is held back, and its row says so."""
    said, found = [], None
    used = [n for n in names if data[n].nunique() > 1]
    version = ""
    with warnings.catch_warnings(record=True) as heard:
        warnings.simplefilter("always")
        try:
            version = metadata.version(library)
            if happened.sum() == 0:
                raise ValueError("nobody had the event")
            if not used:
                raise ValueError("all predictors are the same for all rows")
            found = work(data, used)
        except metadata.PackageNotFoundError:
            said.append(f"{library} is not installed")
        except Exception as problem:  # noqa: BLE001
            said.append(f"{type(problem).__name__}: {problem}")
    said += [str(w.message) for w in heard if not issubclass(w.category, (DeprecationWarning, FutureWarning))]
    held = [term for name, term in zip(names, terms) if name not in used]
    if held:
        said.append("held back, the same for all rows: " + ", ".join(held))
    note = " ".join("; ".join(dict.fromkeys(said)).split())
    for name, term in zip(names, terms):
        numbers = [math.nan] * 4
        if found is not None and name in used:
            log, error, p = (float(part[name]) for part in found)
            reach = 1.959963984540054 * error
            numbers = [ratio(log), ratio(log - reach), ratio(log + reach), p]
        rows.append(
            dict(model=model, term=term, measure=measure, estimate=numbers[0], low=numbers[1],
                 high=numbers[2], p=numbers[3], n=len(data), patients=data["patient"].nunique(),
                 events=int(happened.sum()), software=f"Python {library}", version=version, note=note,
                 relation=relation, script=script)
        )


def ratio(log):
    return math.exp(log) if math.isfinite(log) and abs(log) < 700 else math.nan


def cox(data, names):
    from lifelines import CoxPHFitter

    data = data.assign(status=(data["ended"] == "event").astype(int))
    clustered = data["patient"].duplicated().any()
    kept = data[names + ["seen", "status"] + (["patient"] if clustered else [])]
    # Coefficients are sought in units of the deviation, so that huge and tiny units end alike.
    scale = kept[names].std()
    kept = kept.assign(**{n: (kept[n] - kept[n].mean()) / scale[n] for n in names})
    model = CoxPHFitter().fit(
        kept, "seen", "status", cluster_col="patient" if clustered else None,
        fit_options={"precision": 1e-9},
    )
    s = model.summary.loc[names]
    return s["coef"] / scale, s["se(coef)"] / scale, s["p"]


def equations(data, names):
    import statsmodels.api as sm

    scale = data[names].std()
    right = sm.add_constant((data[names] - data[names].mean()) / scale)
    model = sm.GEE(
        data["event"], right, groups=data["patient"], family=sm.families.Binomial(),
        cov_struct=sm.cov_struct.Exchangeable(),
    ).fit()
    if (model.params[names].abs() > 20).any():
        warnings.warn("separated: the estimate has no end")
    return model.params[names] / scale, model.bse[names] / scale, model.pvalues[names]


once, over_time = take(analysed), take(timed)
fit("cause-specific Cox", "hazard ratio", "lifelines", over_time, over_time["ended"] == "event", cox)
if once["patient"].duplicated().any():
    fit("estimating equations, exchangeable", "odds ratio", "statsmodels", once, once["event"] == 1, equations)

# Rows of the other script stay, those of another relation do not.
made = pd.DataFrame(rows)
path = folder / "models.csv"
if path.exists():
    before = pd.read_csv(path, dtype=str, keep_default_na=False)
    before = before[(before["relation"] == relation) & (before["script"] != script)]
    made = pd.concat([before, made.astype(object).where(made.notna(), "")])
made.to_csv(path, index=False, na_rep="")
print(len(made), "rows in", path)

//! Starter scripts in Python and R: they load the tables, check that they are whole, make Table 1
//! again and compare it with `table_one.csv` to the last digit that a double holds. Calls of models
//! stand below as comments, ready to be edited.

use std::fmt::Write as _;

use super::covariate_sheets::{OF_LESIONS, OF_PLANS};
use super::table_one::Variable;
use tidydose_table::user::outcome_sheet::covariates::Covariate;

fn list(variables: &[Variable<'_>], one: impl Fn(&Variable<'_>) -> String) -> String {
    variables.iter().map(one).collect::<Vec<_>>().join(",\n    ")
}

/// Names of covariates that are categories, whatever their levels look like.
fn levels(covariates: &[Covariate]) -> impl Iterator<Item = &str> {
    covariates.iter().filter(|c| c.is_levels()).map(|c| c.name.as_str())
}

/// The Python script; needs pandas.
pub(super) fn python(group: &str, variables: &[Variable<'_>], covariates: &[Covariate]) -> String {
    let variables =
        list(variables, |v| format!("(\"{}\", \"{}\", \"{}\")", v.grain, v.name, v.values.word()));
    let mut told = String::new();
    if !covariates.is_empty() {
        let words = levels(covariates).fold(String::new(), |mut all, name| {
            let _ = write!(all, ", \"{name}\": str");
            all
        });
        let _ = write!(
            told,
            "words = {{\"plan_id\": str, \"lesion_id\": str{words}}}\n\
             kind = {{\"dtype\": words, \"keep_default_na\": False, \"na_values\": [\"\"]}}\n\
             plans = plans.merge(pd.read_csv(kept.with_name(\"{OF_PLANS}\"), **kind), on=\"plan_id\")\n\
             lesions_told = pd.read_csv(kept.with_name(\"{OF_LESIONS}\"), **kind)\n"
        );
    }
    let (before, after) = if covariates.is_empty() {
        (String::new(), "grains = {\"plan\": plans, \"lesion\": lesions}\n".to_owned())
    } else {
        let grains = "lesions = lesions.merge(lesions_told, on=\"lesion_id\")\n\
                      patients = plans[plans.first_of_patient]\n\
                      grains = {\"patient\": patients, \"plan\": plans, \"lesion\": lesions}\n";
        (told, grains.to_owned())
    };
    PYTHON
        .replace("@GROUP@", group)
        .replace("@VARIABLES@", &variables)
        .replace("@TOLD@\n", &before)
        .replace("@GRAINS@\n", &after)
}

/// The R script; needs no package.
pub(super) fn r(group: &str, variables: &[Variable<'_>], covariates: &[Covariate]) -> String {
    let variables = list(variables, |v| {
        format!("list(\"{}\", \"{}\", \"{}\")", v.grain, v.name, v.values.word())
    });
    let mut told = String::new();
    if !covariates.is_empty() {
        let words = levels(covariates).map(|name| format!("\"{name}\"")).collect::<Vec<_>>();
        let _ = write!(
            told,
            "words <- c({})\n\
             beside <- function(data, name, key) {{\n\
             \x20 path <- file.path(dirname(given[2]), name)\n\
             \x20 first <- read.csv(path, nrows = 1, check.names = FALSE)\n\
             \x20 kinds <- ifelse(names(first) %in% c(words, key), \"character\", NA)\n\
             \x20 told <- read.csv(path, colClasses = kinds, na.strings = \"\", encoding = \"UTF-8\",\n\
             \x20   check.names = FALSE)\n\
             \x20 place <- match(data[[key]], told[[key]])\n\
             \x20 cbind(data, told[place, setdiff(names(told), key), drop = FALSE])\n\
             }}\n\
             plans <- beside(plans, \"{OF_PLANS}\", \"plan_id\")\n\
             lesions <- beside(lesions, \"{OF_LESIONS}\", \"lesion_id\")\n",
            words.join(", ")
        );
    }
    let data = if covariates.is_empty() {
        "  data <- if (v[[1]] == \"plan\") plans else lesions\n"
    } else {
        "  first <- as.character(plans$first_of_patient) %in% c(\"TRUE\", \"true\")\n  \
         data <- switch(v[[1]], patient = plans[first, ], plan = plans, lesion = lesions)\n"
    };
    R.replace("@GROUP@", group)
        .replace("@VARIABLES@", &variables)
        .replace("@TOLD@\n", &told)
        .replace("@DATA@\n", data)
}

const PYTHON: &str = r#""""Table 1 from the tables of the study. Research and quality review only, not for treatment decisions.

Run: python table_one.py TABLES [table_one.csv]
"""
import json
import sys
from pathlib import Path

import pandas as pd

GROUP = "@GROUP@"
VARIABLES = [
    @VARIABLES@,
]

folder = Path(sys.argv[1])
kept = Path(sys.argv[2] if len(sys.argv) > 2 else Path(__file__).with_name("table_one.csv"))
text = {"patient_id": str, "plan_id": str, "lesion_id": str}
plans = pd.read_csv(folder / "plans.csv", dtype=text)
lesions = pd.read_csv(folder / "lesions.csv", dtype=text)

# The tables are those of the run: their numbers of rows are in run.json.
run = json.loads((folder.parent / "run.json").read_text(encoding="utf-8"))
rows = {t["table"]: t["rows"] for t in run["tables"]}
assert (len(plans), len(lesions)) == (rows["plans"], rows["lesions"]), "tables are not of this run"

plans = plans[plans.in_study].copy()


def word(value):
    """A category as text; whole numbers without point."""
    return str(int(value)) if isinstance(value, float) and value.is_integer() else str(value)


@TOLD@
plans["group"] = ["unknown" if pd.isna(v) else word(v) for v in plans[GROUP]]
plans["of_fractions"] = ["unknown" if pd.isna(v) else word(v) for v in plans["fractions_planned"]]
of_plan = plans[["plan_id", "group", "of_fractions"]]
lesions = lesions.merge(of_plan, on="plan_id", validate="many_to_one")
@GRAINS@

made = []
for grain, name, values in VARIABLES:
    data = grains[grain]
    # A dose in gray means another thing in another number of fractions: each is described apart.
    parts = sorted(data.of_fractions.unique()) if values == "by fractions" else [""]
    for group in ["all", *sorted(data.group.unique())]:
        for part in parts:
            own = data if group == "all" else data[data.group == group]
            own = own if part == "" else own[own.of_fractions == part]
            known = own[name].dropna()
            base = {"grain": grain, "variable": name, "level": part, "group": group}
            base |= {"n": len(known), "missing": len(own) - len(known)}
            if values == "categories":
                for level in sorted({word(v) for v in data[name].dropna()}):
                    n = sum(word(v) == level for v in known)
                    percent = 100 * n / len(known) if len(known) else None
                    made.append(base | {"level": level, "count": n, "percent": percent})
            else:
                low, middle, high = (known.quantile(q) for q in (0.25, 0.5, 0.75))
                made.append(base | {"median": middle, "lower": low, "upper": high})
made = pd.DataFrame(made)

key = ["grain", "variable", "level", "group"]
table = pd.read_csv(kept, dtype={"level": str, "group": str}).fillna({"level": ""})
both = table.merge(made, on=key, how="outer", suffixes=("", "_made"), indicator=True)
assert (both._merge == "both").all(), both[both._merge != "both"]
for column in ["n", "missing", "count", "percent", "median", "lower", "upper"]:
    a, b = both[column].astype(float), both[column + "_made"].astype(float)
    same = (a.isna() & b.isna()) | ((a - b).abs() <= 1e-12 * a.abs())
    assert same.all(), both.loc[~same, key + [column, column + "_made"]]
print(f"{len(both)} rows of Table 1 made again and equal")

# Ready to be edited, with subjects.csv of a relation (lesions in patients):
# import statsmodels.api as sm
# s = pd.read_csv("subjects.csv"); s = s[s.analysed]
# x = sm.add_constant(s[["predictor"]])
# print(sm.GEE(s.event.astype(int), x, groups=s.patient_id, family=sm.families.Binomial(),
#              cov_struct=sm.cov_struct.Exchangeable()).fit().summary())
# from lifelines import CoxPHFitter
# CoxPHFitter().fit(s.assign(e=s.ended.eq("event"))[["days", "e", "predictor", "patient_id"]],
#                   "days", "e", cluster_col="patient_id").print_summary()
"#;

const R: &str = r#"# Table 1 from the tables of the study. Research and quality review only, not for treatment decisions.
# Run: Rscript table_one.R TABLES table_one.csv
group_column <- "@GROUP@"
variables <- list(
    @VARIABLES@
)
given <- commandArgs(trailingOnly = TRUE)
read <- function(path) {
  read.csv(path, stringsAsFactors = FALSE, na.strings = "", encoding = "UTF-8", check.names = FALSE)
}
plans <- read(file.path(given[1], "plans.csv"))
lesions <- read(file.path(given[1], "lesions.csv"))
table <- read(given[2])

plans <- plans[as.character(plans$in_study) %in% c("TRUE", "true"), ]
@TOLD@
plans$group <- ifelse(is.na(plans[[group_column]]), "unknown", as.character(plans[[group_column]]))
planned <- plans$fractions_planned
plans$of_fractions <- ifelse(is.na(planned), "unknown", as.character(planned))
place <- match(lesions$plan_id, plans$plan_id)
lesions$group <- plans$group[place]
lesions$of_fractions <- plans$of_fractions[place]
lesions <- lesions[!is.na(lesions$group), ]

rows <- 0
equal <- function(a, b, what) {
  same <- (is.na(a) & is.na(b)) | (!is.na(a) & !is.na(b) & abs(a - b) <= 1e-12 * abs(a))
  if (!same) stop(paste("differs:", what, a, b))
}
find <- function(grain, name, level, group) {
  hit <- table$grain == grain & table$variable == name & table$group == group &
    (if (is.na(level)) is.na(table$level) else !is.na(table$level) & table$level == level)
  if (sum(hit) != 1) stop(paste("not there once:", grain, name, level, group))
  table[hit, ]
}
for (v in variables) {
@DATA@
  for (group in c("all", sort(unique(data$group)))) {
    of_group <- if (group == "all") data else data[data$group == group, ]
    # A dose in gray means another thing in another number of fractions: each is described apart.
    levels <- switch(v[[3]], categories = unique(as.character(na.omit(data[[v[[2]]]]))),
      "by fractions" = unique(data$of_fractions), NA)
    for (level in levels) {
      own <- if (v[[3]] == "by fractions") of_group[of_group$of_fractions == level, ] else of_group
      values <- own[[v[[2]]]]
      known <- values[!is.na(values)]
      row <- find(v[[1]], v[[2]], level, group)
      what <- paste(v[[1]], v[[2]], level, group)
      equal(row$n, length(known), what)
      equal(row$missing, length(values) - length(known), what)
      if (v[[3]] == "categories") {
        n <- sum(as.character(known) == level)
        equal(row$count, n, what)
        equal(row$percent, if (length(known)) 100 * n / length(known) else NA, what)
      } else {
        q <- if (length(known)) quantile(known, c(0.25, 0.5, 0.75), names = FALSE) else rep(NA, 3)
        equal(row$lower, q[1], what); equal(row$median, q[2], what); equal(row$upper, q[3], what)
      }
      rows <- rows + 1
    }
  }
}
if (rows != nrow(table)) stop(paste("rows made", rows, "of", nrow(table)))
cat(rows, "rows of Table 1 made again and equal\n")

# Ready to be edited, with subjects.csv of a relation (lesions in patients):
# s <- subset(read.csv("subjects.csv"), analysed == "true")
# library(geepack)
# summary(geeglm(I(event == "true") ~ predictor, id = factor(patient_id), data = s,
#                family = binomial, corstr = "exchangeable"))
# library(survival)
# coxph(Surv(days, ended == "event") ~ predictor, cluster = patient_id, data = s)
# library(cmprsk)
# cuminc(s$days, match(s$ended, c("event", "competing"), nomatch = 0), s$group)  # Gray's test
# crr(s$days, match(s$ended, c("event", "competing"), nomatch = 0), s$predictor) # Fine and Gray
"#;

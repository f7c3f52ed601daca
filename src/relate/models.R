# Models of one relation that citable software fits: cause-specific Cox, Fine and Gray, estimating
# equations. @CAUTION@
#
# Reads subjects.csv beside this script and writes models.csv there, which the next run of `tidydose
# relate` and `tidydose paper` show. Needs R with survival, cmprsk and geepack (Debian: r-cran-survival
# r-cran-cmprsk r-cran-geepack); logistf is not in Debian and is used where it is installed. Another
# package that is missing leaves a row that says so.
#
#   Rscript models.R

event <- @EVENT@
grain <- @GRAIN@
doubling <- @DOUBLING@
# Columns of subjects.csv, and what they hold.
columns <- c(@COLUMNS@)
terms <- c(@TERMS@)
# Which subjects.csv this was written for.
relation <- @RELATION@
script <- "models.R"

given <- commandArgs(trailingOnly = FALSE)
self <- sub("^--file=", "", given[grep("^--file=", given)])
folder <- if (length(self) == 1) dirname(self) else "."

subjects <- read.csv(file.path(folder, "subjects.csv"), check.names = FALSE, na.strings = "")
truth <- function(column) tolower(as.character(column)) == "true"
values <- as.data.frame(lapply(columns, function(name) as.numeric(subjects[[name]])))
names(values) <- paste0("x", seq_along(columns))
if (doubling) values$x1 <- log2(values$x1)
all_known <- complete.cases(values)
analysed <- truth(subjects$analysed) & all_known
# Who is left out for a short follow-up only was followed that long, and counts over time.
timed <- all_known & !is.na(subjects$days)

rows <- list()
add <- function(model, term, measure, estimate, low, high, p, n, patients, events, package, note = "") {
  software <- if (package == "") "R" else paste("R", package)
  version <- if (package == "") as.character(getRversion()) else
    tryCatch(as.character(packageVersion(package)), error = function(e) "")
  rows[[length(rows) + 1]] <<- data.frame(
    model = model, term = term, measure = measure, estimate = estimate, low = low, high = high, p = p,
    n = n, patients = patients, events = events, software = software, version = version,
    note = gsub("[\r\n]+", " ", note), relation = relation, script = script, stringsAsFactors = FALSE)
}

# Fits with `work`, which gives log estimates, their standard errors and p of the predictors that it is
# given. Whatever it says stands in the rows: a model that fails is a row with its reason. A predictor
# that is the same for all rows says nothing: it is held back, and its row says so.
fit <- function(model, measure, package, data, happened, work) {
  patients <- length(unique(data$patient))
  differs <- vapply(data[names(values)], function(column) length(unique(column)) > 1, TRUE)
  used <- names(values)[differs]
  said <- character(0)
  found <- tryCatch(
    {
      if (!requireNamespace(package, quietly = TRUE)) stop(paste("package", package, "is not installed"))
      if (sum(happened) == 0) stop("nobody had the event")
      if (length(used) == 0) stop("all predictors are the same for all rows")
      withCallingHandlers(work(data, used), warning = function(w) {
        said <<- c(said, conditionMessage(w))
        invokeRestart("muffleWarning")
      })
    },
    error = function(e) {
      said <<- c(said, conditionMessage(e))
      NULL
    })
  if (any(!differs)) {
    said <- c(said, paste("held back, the same for all rows:", paste(terms[!differs], collapse = ", ")))
  }
  note <- paste(unique(said), collapse = "; ")
  for (k in seq_along(terms)) {
    place <- match(names(values)[k], used)
    at <- function(column) {
      if (is.null(found) || is.na(place) || !is.finite(column[place])) NA else unname(column[place])
    }
    if (is.null(found$low)) {
      reach <- qnorm(0.975) * found$error
      ends <- list(found$log - reach, found$log + reach)
    } else {
      ends <- list(found$low, found$high)
    }
    add(model, terms[k], measure, exp(at(found$log)), exp(at(ends[[1]])), exp(at(ends[[2]])),
      at(found$p), nrow(data), patients, sum(happened), package, note)
  }
}

take <- function(which) {
  data <- values[which, , drop = FALSE]
  data$patient <- as.character(subjects$patient_id[which])
  data$event <- as.integer(truth(subjects$event[which]))
  data$days <- as.numeric(subjects$days[which])
  data$ended <- subjects$ended[which]
  looked <- as.numeric(subjects$days_looked[which])
  # The dead are at risk of an event on images until their last imaging.
  seen <- ifelse(data$ended == "event" | is.na(looked), data$days, pmin(looked, data$days))
  data$seen <- pmax(seen, 0.5)
  data$days <- pmax(data$days, 0.5)
  # Rows of a patient stand together: estimating equations want that.
  data[order(data$patient), , drop = FALSE]
}

once <- take(analysed)
over_time <- take(timed)
clustered <- anyDuplicated(once$patient) > 0
clustered_times <- anyDuplicated(over_time$patient) > 0
formula_of <- function(left, used) as.formula(paste(left, "~", paste(used, collapse = " + ")))

fit("cause-specific Cox", "hazard ratio", "survival", over_time, over_time$ended == "event", function(d, used) {
  d$status <- as.integer(d$ended == "event")
  m <- if (clustered_times) {
    survival::coxph(formula_of("survival::Surv(seen, status)", used), data = d, cluster = patient)
  } else {
    survival::coxph(formula_of("survival::Surv(seen, status)", used), data = d)
  }
  error <- sqrt(diag(vcov(m)))
  list(log = coef(m), error = error, p = 2 * pnorm(-abs(coef(m) / error)))
})

# Death is the competing event at its day: in this model who died stays in the risk set, so that the
# day of the last imaging before it has no part in it.
if (clustered_times) {
  fit("Fine and Gray", "subdistribution hazard ratio", "survival", over_time,
    over_time$ended == "event", function(d, used) {
    d$status <- factor(d$ended, levels = c("censored", "event", "competing"))
    d$row <- seq_len(nrow(d))
    keep <- formula_of("survival::Surv(days, status)", c(used, "patient", "row"))
    weighted <- survival::finegray(keep, data = d, etype = "event", id = row)
    m <- survival::coxph(formula_of("survival::Surv(fgstart, fgstop, fgstatus)", used),
      data = weighted, weights = fgwt, cluster = patient)
    error <- sqrt(diag(vcov(m)))
    list(log = coef(m), error = error, p = 2 * pnorm(-abs(coef(m) / error)))
  })
} else {
  fit("Fine and Gray", "subdistribution hazard ratio", "cmprsk", over_time,
    over_time$ended == "event", function(d, used) {
    status <- match(d$ended, c("censored", "event", "competing")) - 1
    m <- cmprsk::crr(d$days, status, as.matrix(d[used]), failcode = 1, cencode = 0)
    if (!isTRUE(m$converged)) warning("did not converge")
    error <- sqrt(diag(m$var))
    list(log = m$coef, error = error, p = 2 * pnorm(-abs(m$coef / error)))
  })
}

if (clustered) {
  fit("estimating equations, exchangeable", "odds ratio", "geepack", once, once$event == 1, function(d, used) {
    d$group <- as.integer(factor(d$patient))
    m <- geepack::geeglm(formula_of("event", used), id = group, data = d, family = binomial,
      corstr = "exchangeable")
    s <- summary(m)$coefficients[-1, , drop = FALSE]
    if (any(abs(s[, "Estimate"]) > 20)) warning("separated: the estimate has no end")
    list(log = setNames(s[, "Estimate"], rownames(s)), error = s[, "Std.err"], p = s[, "Pr(>|W|)"])
  })
} else if (!requireNamespace("logistf", quietly = TRUE)) {
  cat("logistf is not installed: Firth's model is in model.csv only\n")
} else {
  fit("Firth's logistic model", "odds ratio", "logistf", once, once$event == 1, function(d, used) {
    m <- logistf::logistf(formula_of("event", used), data = d)
    list(log = coef(m)[-1], low = m$ci.lower[-1], high = m$ci.upper[-1], p = m$prob[-1])
  })
}

# Rows of the other script stay, those of another relation do not.
made <- do.call(rbind, rows)
path <- file.path(folder, "models.csv")
if (file.exists(path)) {
  before <- read.csv(path, check.names = FALSE, na.strings = "", colClasses = "character")
  before <- before[before$relation %in% relation & !before$script %in% script, , drop = FALSE]
  text <- as.data.frame(lapply(made, function(column) {
    if (is.numeric(column)) ifelse(is.na(column), NA, formatC(column, digits = 15, format = "g", width = 1))
    else as.character(column)
  }), stringsAsFactors = FALSE)
  made <- if (nrow(before) > 0) rbind(before[names(text)], text) else text
}
write.csv(made, path, row.names = FALSE, na = "", quote = TRUE)
cat(nrow(made), "rows in", path, "\n")

# The tables of a study as data frames, with types, units and labels.
#
# Research and quality review only, not for treatment decisions; local protocol and licensed practice
# decide.
#
# Lies in the folder of the study and needs no package:
#
#   source("study/read_tables.R")
#   lesions <- read_table("analysis", "study")
#   attr(lesions$volume_cc, "label"); attr(lesions$volume_cc, "unit")
#
# A column that holds one of a list of words is a factor with all words of the list. What is missing
# stays missing. Tables without CSV (bounds, pictures, traces) are in study.sqlite and Parquet.

read_cells <- function(table, study) {
  path <- file.path(study, "tables", paste0(table, ".csv"))
  if (!file.exists(path)) stop("no table ", table, " as CSV in ", file.path(study, "tables"))
  cells <- read.csv(path, colClasses = "character", na.strings = "", encoding = "UTF-8",
    check.names = FALSE)
  # An apostrophe stands before a text that a spreadsheet would take for a formula.
  for (name in names(cells)) cells[[name]] <- sub("^'(\\s*[-=+@])", "\\1", cells[[name]])
  cells
}

read_table <- function(table, study = ".") {
  cells <- read_cells(table, study)
  known <- read_cells("dictionary", study)
  known <- known[known$table == table & is.na(known$value), ]
  for (row in seq_len(nrow(known))) {
    name <- known$column[row]
    words <- known$allowed_values[row]
    cell <- cells[[name]]
    if (!is.na(words)) {
      cell <- factor(cell, levels = strsplit(words, " | ", fixed = TRUE)[[1]])
    } else if (known$type[row] == "boolean") {
      cell <- cell == "true"
    } else if (known$type[row] != "text") {
      cell <- as.numeric(cell)
    }
    attr(cell, "label") <- known$label[row]
    if (!is.na(known$unit[row])) attr(cell, "unit") <- known$unit[row]
    cells[[name]] <- cell
  }
  cells
}

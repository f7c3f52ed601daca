//! The texts below the options in `--help`: what a command does, and examples. Every one ends with
//! what the program is not for. A paragraph is one line, which is wrapped to the window; what has
//! lines of its own fits into 80 columns. Knows no option and no setting.

pub(super) const TOP_HELP: &str = "\
Research and quality review only, not for treatment decisions; local protocol and licensed \
practice decide.

Examples:
  tidydose survey archive
      what is there, what is wrong, which names await a decision
  tidydose measure archive --study cohort
      all metrics, as Parquet and CSV in cohort/tables
  tidydose ask brainstem-dose --study cohort
      one of the questions that come with the program

Exit codes:
  0  the run is complete; whatever was left out is counted, named and
     explained, and the last line on stderr says how much and where to look
  1  complete, but what was asked for is empty: nothing could be measured, an
     answer without rows, a table, a page or a relation with nobody in it; or
     --fail-on was given and applies
  2  the run could not be done, or was stopped before its end
--strict refuses more and changes no code: what it refuses is left out like everything else. \
With --fail-on left-out both kinds of refusal end with 1. Findings that were decided in \
decisions.csv are not refused by --strict and not counted by --fail-on.";

pub(super) const SURVEY_HELP: &str = "\
Prints a summary to stdout; writes the tables files and findings and adds proposals to \
names.csv, prescriptions.csv and decisions.csv, which belong to you: what you decide there is \
never changed. Where only you can tell (frames of reference, several doses or versions of a \
plan, relative dose), the question is put into choices.csv (see README); answer it in its column \
`decision`. Everything that is open stands on the page decide.html and in the workbook \
decide.xlsx of the study too; the answers.csv that the page saves, and the workbook, are taken \
over by the next run when they lie in the study.

Examples:
  tidydose survey archive
  tidydose survey 2019 2020 2021 --study cohort --jobs 4

Research and quality review only, not for treatment decisions; local protocol and licensed \
practice decide.";

pub(super) const MEASURE_HELP: &str = "\
Writes all tables into DIR/tables and, as one database, into DIR/study.sqlite; DIR/study.xlsx \
for spreadsheets, of which sheet analysis has the columns that DIR/columns.csv asks for; and \
run.json with the settings and digests of the run. Each case that is done is a file in \
DIR/cases: a run that was stopped or killed goes on from there, and a later run computes only \
what is new or depends on something that was changed.

Examples:
  tidydose measure archive
  tidydose measure archive --study cohort --metrics 'D90%[Gy],V15Gy[cc]'
  tidydose measure archive --metrics metrics.txt --jobs 2 --quiet
  tidydose measure archive --metric-list basic
  tidydose measure archive --alpha-beta target=8,Lens=1.5
  tidydose measure archive --study cohort --part 2/8
      one of eight shares of the work; copy the files of all DIR/cases into
      one, then measure without --part

Research and quality review only, not for treatment decisions; local protocol and licensed \
practice decide.";

pub(super) const ASK_HELP: &str = "\
Without a question, lists those that come with the program. The tables are those in \
DIR/study.sqlite, and every CSV file in DIR. The SQL is that of SQLite; one SELECT, or WITH ... \
SELECT, is a question. Besides the functions of SQLite there are MEDIAN(x), PERCENTILE_CONT(x, \
q) with q from 0 to 1, STDDEV_SAMP(x), CORR(x, y), SQRT(x), EXP(x), LN(x) and POWER(x, y). A \
parameter is declared in a comment at the top, `-- set limit: number = 12.5  dose in Gy`, and \
used as $limit. Its type is number, integer, text or list; structure or metric (structures, \
metrics for several) refuse a name that exists nowhere.

Examples:
  tidydose ask
  tidydose ask brainstem-dose --study cohort --set organ=OpticChiasm
  tidydose ask mine.sql --study cohort --with outcomes=outcomes.csv
      --output answer.csv

Research and quality review only, not for treatment decisions; local protocol and licensed \
practice decide.";

pub(super) const REVIEW_HELP: &str = "\
One HTML file that needs no network and no other file: minutes with the cases to talk about, who \
is counted, dose against distance, cases worst first by their share of the limit, undecided \
names, dose-volume bands, run chart, findings, and a sheet with pictures for each case. It opens \
in any browser and prints on A4. An organ or metric that is not in the tables ends the run with \
a list of those that are.

reviews.csv in the folder of the study gets a row for each case to talk about. What is written \
there (date, who, discussed, outcome, action, due) stands on the next page.

Examples:
  tidydose review
  tidydose review --study cohort --organ OpticChiasm --metric 'Max[Gy]'
      --output chiasm.html
  tidydose review --organ Brainstem --organ OpticChiasm --organ Cochlea_L
      --organ Cochlea_R
  tidydose review --study spring --since winter --committee 'Dose review'
      --date 2031-03-02

Research and quality review only, not for treatment decisions; local protocol and licensed \
practice decide.";

pub(super) const FOLLOW_UP_HELP: &str = "\
Patients with a structure set that was drawn after a treatment have a sheet: time, volumes and \
diameters with bounds, what images say by each criterion, new lesions, and where what was drawn \
lies in the dose that was given. Nothing is taken from a proposal: what lesions.csv matches to no \
lesion is in no change, response or figure.

Examples:
  tidydose follow-up
  tidydose follow-up --study cohort --output meeting/follow_up.html

Research and quality review only, not for treatment decisions; local protocol and licensed \
practice decide.";

pub(super) const SHELL_HELP: &str = "\
bash: put tidydose.bash among the completions of bash, for one user \
~/.local/share/bash-completion/completions/tidydose. zsh: _tidydose into a folder of fpath. fish: \
tidydose.fish into ~/.config/fish/completions. PowerShell: run _tidydose.ps1 in the profile. \
Manual pages end in .1 and go into a folder man1 of MANPATH.

Examples:
  tidydose shell completions

Research and quality review only, not for treatment decisions; local protocol and licensed \
practice decide.";

pub(super) const DIFF_HELP: &str = "\
Compares plans, structures, lesions, metrics, relations, limit checks and findings row by row. \
The cause of a change is an input (other file contents of the case), a decision of a person, a \
setting or the version of the program; several are named where several apply.

Examples:
  tidydose diff cohort-2023 cohort-2024
  tidydose diff before after --output changes.csv

Research and quality review only, not for treatment decisions; local protocol and licensed \
practice decide.";

pub(super) const POOL_HELP: &str = "\
Every table of the studies, one centre after the other, with the centre as first column; ask, \
review, relate, paper and diff read DIR as any study (`paper --group centre`). Table centres \
counts what came from each. The flow is added up. Events that `relate` read from the sheets of \
the centres (outcomes_read.csv) go along; covariates do not.

The studies must have the same settings, version of the numbers and columns.csv, and no \
identifier kept; else the command says what differs. The same patient, plan or file in two of \
them is refused. A patient who was treated at two centres cannot be seen where the keys differ.

A centre may run it on its own study alone: DIR is then what it hands over, and goes into the \
study of all without a label. Texts that people or machines wrote stay behind, and names of \
structures that are no standard ones stand as their role. DIR-sharing.csv lists groups of fewer \
than five patients, days of one patient alone, texts, ages of 90 or more, and what may be \
recognised.

Examples:
  tidydose pool Harbour=study --output handed-over
  tidydose pool Harbour=a/study Hillside=b/study --output all
  tidydose pool handed-over Hillside=b/study --output all

Research and quality review only, not for treatment decisions; local protocol and licensed \
practice decide.";

pub(super) const RELATE_HELP: &str = "\
The sheet is the department's own, CSV of any locale and usual encoding or XLSX: wide or long, \
one row a patient, a plan or a lesion, dates, days or months, hospital IDs. The first run \
proposes in DIR/outcomes_map.csv what its columns mean, says what is to be decided, and stops; \
correct the map and run again. Months are 30.4375 days, rounded to a day. DIR/outcomes_read.csv \
is what was read, in the tidy form below, DIR/outcomes_account.csv what became of each cell. \
What cannot have happened in that order is held back and named.

A sheet in the tidy form needs no map: patient_id and event_type, and plan_id, lesion_id, \
day_event, grade, grade_scale, basis, symptomatic, day_last_imaging, day_last_contact, \
vital_status where they are known. One row for each event; event_type none where nothing \
happened, lost where nobody knows. Days count from the first fraction. A lesion may be named by \
lesion_id, by clinical_label of lesions.csv or by its structure. Whoever has a row was followed \
for every kind of event. Further columns are offered in the map as covariates.

An event belongs to the course that precedes it, and a later course ends the follow-up. Who died \
is at risk of an event on images until the last imaging.

Writes report.txt, CSV files and figures, and models.R and models.py, which fit Cox models, the \
model of Fine and Gray and estimating equations to subjects.csv; the next run shows what they \
wrote. Each analysis that is tried is kept in DIR/tried.csv, and the report counts them. An \
event that the sheet looked for and nobody had is answered with the exact upper limit of its \
risk.

Examples:
  tidydose relate --outcomes outcomes.csv --event necrosis
      --predictor 'Brain:V12Gy[cc]'
  tidydose relate --outcomes sheet.xlsx --event necrosis
      --predictor 'Brain:V12Gy[cc]' --adjust age
  tidydose relate --outcomes outcomes.csv --event necrosis
      --predictor gtv_volume_cc --doubling
  tidydose relate --outcomes o.csv --event palsy
      --predictor 'Brainstem:D0.03cc[Gy]' --fractions 1

Research and quality review only, not for treatment decisions; local protocol and licensed \
practice decide.";

pub(super) const EXPLAIN_HELP: &str = "\
From a row of table metrics to the files and objects (hashed) it was computed from, its \
definition and source, contour planes, hottest point and voxel, bounds term by term, limits, \
findings and picture. All of it comes from the tables in DIR. A name that is not in the tables \
ends the run with those nearest to it.

Examples:
  tidydose explain Pwc1wcha46p7c Brainstem 'D0.03cc[Gy]'
  tidydose explain Pwc1wcha46p7c Brainstem 'D0.03cc[Gy]' --page brainstem.html
  tidydose explain Pwc1wcha46p7c Brainstem --picture brainstem.png
  tidydose explain Pwc1wcha46p7c --study cohort --contact-sheet case.svg

Research and quality review only, not for treatment decisions; local protocol and licensed \
practice decide.";

pub(super) const PAPER_HELP: &str = "\
With --outcomes the covariates of the department's sheet (age, histology, anything) stand in \
Table 1 and may make the groups; the sheet is read by DIR/outcomes_map.csv, as `relate --help` \
says.

Writes Table 1, doses and comparisons as CSV, DOCX and LaTeX, completeness.csv, flow.csv and \
.svg, figures as SVG and PDF (with --tiff as pictures of 600 dpi too), methods.txt with \
references.bib, CITATION.cff, reporting.md (STROBE and ICRU 91 as far as the program knows, the \
rest as questions), the folder share (tables without free text, dictionary, checksums), \
table_one.py and table_one.R, which make Table 1 again and compare. README.md of the folder says \
what each file is.

check_worksheet.csv is for a blind check against planning reports: of each metric that decides \
(volume, D0.03cc, V12Gy, coverage, conformity) 20 random values or a twentieth, the extremes \
behind them. With the key check_worksheet_hospital.csv beside it has the same rows by hospital \
ID, date of the plan and name of the structure. Write the values of the reports into \
report_value and give the sheet back with --checked: agreement.csv and .txt, agreement_rows.csv \
and a figure for each metric say how far both agree. A report that is ten times the measured \
value or a tenth of it is held back until second_reading has it too. A worksheet into which \
somebody wrote is never replaced.

Examples:
  tidydose paper
  tidydose paper --outcomes sheet.xlsx
  tidydose paper --checked study/paper/check_worksheet.csv
  tidydose paper --study cohort --group fractions_planned --output paper

Research and quality review only, not for treatment decisions; local protocol and licensed \
practice decide.";

pub(super) const LIMITS_HELP: &str = "\
A limit is a row with organ (TG-263), tier, metric, limit, fractions (3, or 3 to 5) and source; \
a note and further columns may stand beside. The examples that are written have `no` under \
in_use. Name the file limits.csv and put it into the study folder: its rows are added to the \
program's list, or replace those of the same organ, metric, fractions, tier and source. With \
`measure --limits FILE` it is used instead of the program's list. Rows of tier objective are \
shown and judge nothing.

Examples:
  tidydose limits protocol.csv
  tidydose limits all.csv --program-list
  tidydose measure archive --limits protocol.csv

Research and quality review only, not for treatment decisions; local protocol and licensed \
practice decide.";

pub(super) const ANONYMISE_HELP: &str = "\
Copies structure sets, doses, plans, treatment records and spatial registrations. What is not \
needed for dose-volume work is removed, private attributes among it; UIDs, Patient ID, labels \
and machine names become pseudonyms that agree in all files and runs with the same key; dates \
are shifted by the same hidden days for all objects of a patient; times and names of staff are \
emptied. Structure names stay, unless they hold a name or number of the patient or of staff, a \
date or a long number: those become [withheld]. Images and all other files are not copied. \
OUT/anonymised.csv lists every file and what was done with it, without any original value.

Dose and contours themselves can still show who somebody is (a contour of the skin shows a \
face), and no check of names finds everything: look at the copies before they are passed on. The \
key folder stays.

Examples:
  tidydose anonymise archive copies
  tidydose anonymise archive copies --study cohort --keep-labels
  tidydose anonymise archive copies --drop-dates

Research and quality review only, not for treatment decisions; local protocol and licensed \
practice decide.";

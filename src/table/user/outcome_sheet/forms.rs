//! How the moments of a column are written: as dates, and in which order of day and month, or as numbers
//! of which unit. What its own cells do not settle is asked.

use super::cells::{self, DateOrder, DateRead, Unit};
use super::map::{Form, MapRow, Meaning};
use super::propose::Column;

/// Forms of the columns of moments, by their own cells.
pub(super) fn settle(rows: &mut [MapRow], columns: &[Column<'_>]) {
    for (row, column) in rows.iter_mut().zip(columns) {
        if !row.meaning.is_some_and(Meaning::is_moment) {
            continue;
        }
        let (form, evidence, decide) = form_of(column);
        row.form = form;
        row.evidence = format!("{}; {evidence}", row.evidence);
        if let Some(decide) = decide {
            row.to_decide = decide;
        }
        let sure = column.dates() + column.durations();
        if sure < column.said.len() {
            let n = column.said.len() - sure;
            row.evidence.push_str(&format!("; {n} cells are no moment and are held back"));
        }
    }
}

fn form_of(column: &Column<'_>) -> (Option<Form>, String, Option<String>) {
    let dates: Vec<DateRead> = column.said.iter().filter_map(|t| cells::date(t)).collect();
    if 2 * dates.len() <= column.said.len() {
        return unit_of(column);
    }
    let of =
        |order| dates.iter().filter(|d| matches!(d, DateRead::One(_, o) if *o == order)).count();
    let either = dates.iter().filter(|d| matches!(d, DateRead::Either { .. })).count();
    let without = dates.iter().filter(|d| **d == DateRead::WithoutDay).count();
    let (day, month) = (of(DateOrder::DayFirst), of(DateOrder::MonthFirst));
    let mut evidence = format!("{} dates", dates.len());
    if without > 0 {
        evidence.push_str(&format!(", {without} of them without a day, which are held back"));
    }
    if either == 0 {
        return (Some(Form::Date), evidence, None);
    }
    let both = format!("{either} of them with day and month to be exchanged");
    match (day, month) {
        (1.., 0) => {
            let why = format!("{evidence}, {both}; {day} others can only begin with the day");
            (Some(Form::DateDayFirst), why, None)
        }
        (0, 1..) => {
            let why = format!("{evidence}, {both}; {month} others can only begin with the month");
            (Some(Form::DateMonthFirst), why, None)
        }
        _ => {
            let decide =
                "which comes first, day or month? write date_day_first or date_month_first \
                          into form; `date` holds back those that can be both"
                    .to_owned();
            (None, format!("{evidence}, {both}; nothing else tells the order"), Some(decide))
        }
    }
}

fn unit_of(column: &Column<'_>) -> (Option<Form>, String, Option<String>) {
    let of_word = |word: &str| match Unit::of_word(word)? {
        Unit::Days => Some(Form::Days),
        Unit::Weeks => Some(Form::Weeks),
        Unit::Months => Some(Form::Months),
        Unit::Years => Some(Form::Years),
    };
    // `months_to_x`, `followupmonths`; single letters only as a word of their own.
    let inside = |t: &String| {
        ["months", "weeks", "years", "days", "monate", "wochen", "jahre", "tage"]
            .iter()
            .find(|w| t.ends_with(**w))
            .and_then(|w| of_word(w))
    };
    let found = column.tokens.iter().find_map(|t| of_word(t).or_else(|| inside(t)));
    let written = column.said.iter().all(|t| matches!(cells::duration(t, None), Ok((_, Some(_)))));
    match found {
        Some(form) => (Some(form), format!("{} numbers", column.durations()), None),
        None if written => (Some(Form::Months), "units stand in the cells".to_owned(), None),
        None => {
            let decide =
                "days, weeks, months or years since the first fraction? write it into form";
            (None, format!("{} numbers", column.durations()), Some(decide.to_owned()))
        }
    }
}

//! What the page is about: patients who were looked at again, and each treated lesion over time.

use std::collections::{BTreeMap, BTreeSet};

use tidydose_table::read::{
    CellError, LesionTimeRow, NewLesionsRow, PlanRow, RecurrenceRow, ResponseRow, Tables,
    WithBounds, rows,
};

/// A patient with a row in table `follow_up` or `new_lesions`.
pub(super) struct Patient<'t> {
    pub(super) patient_id: &'t str,
    /// Plans that count in the study, the first treatment first.
    pub(super) plans: Vec<PlanRow<'t>>,
    pub(super) times: Vec<LesionTimeRow<'t>>,
    pub(super) responses: Vec<ResponseRow<'t>>,
    /// What was drawn later, in the dose that was given.
    pub(super) later: Vec<RecurrenceRow<'t>>,
    pub(super) looks: Vec<NewLesionsRow<'t>>,
}

/// A treated lesion with each time at which it was drawn, its treatment first.
pub(super) struct Treated<'p> {
    pub(super) patient_id: &'p str,
    pub(super) lesion_id: &'p str,
    /// As it was called when it was treated.
    pub(super) structure: &'p str,
    pub(super) times: Vec<&'p LesionTimeRow<'p>>,
    /// Whether lesions.csv calls it a recurrence at one of them.
    pub(super) recurred: bool,
}

/// The patients, those with something open first.
///
/// # Errors
/// A cell that is not understood.
pub(super) fn patients(tables: &Tables) -> Result<Vec<Patient<'_>>, CellError> {
    let times: Vec<LesionTimeRow<'_>> = rows(tables)?;
    let looks: Vec<NewLesionsRow<'_>> = rows(tables)?;
    let mut list: BTreeMap<&str, Patient<'_>> = BTreeMap::new();
    let ids = times.iter().map(|t| t.patient_id);
    let ids = ids.chain(looks.iter().filter(|l| l.kind == "follow_up").map(|l| l.patient_id));
    for patient_id in ids {
        list.entry(patient_id).or_insert_with(|| Patient {
            patient_id,
            plans: Vec::new(),
            times: Vec::new(),
            responses: Vec::new(),
            later: Vec::new(),
            looks: Vec::new(),
        });
    }
    for row in times {
        list.entry(row.patient_id).and_modify(|p| p.times.push(row));
    }
    for row in looks {
        list.entry(row.patient_id).and_modify(|p| p.looks.push(row));
    }
    for row in rows::<PlanRow<'_>>(tables)? {
        if row.is_in_study() {
            list.entry(row.patient_id).and_modify(|p| p.plans.push(row));
        }
    }
    for row in rows::<ResponseRow<'_>>(tables)? {
        list.entry(row.patient_id).and_modify(|p| p.responses.push(row));
    }
    for row in rows::<RecurrenceRow<'_>>(tables)? {
        list.entry(row.patient_id).and_modify(|p| p.later.push(row));
    }
    let mut list: Vec<Patient<'_>> = list.into_values().collect();
    for patient in &mut list {
        patient.plans.sort_by_key(|p| (p.day(), p.plan_id));
        patient.times.sort_by_key(|t| (t.day, t.lesion_id));
    }
    list.sort_by_key(|p| (p.open() == 0, p.patient_id));
    Ok(list)
}

impl<'t> Patient<'t> {
    /// Day of the first treatment, from the patient's hidden zero.
    pub(super) fn first_day(&self) -> Option<i64> {
        self.plans.iter().find_map(PlanRow::day)
    }

    /// Days since the first treatment.
    pub(super) fn since(&self, day: Option<i64>) -> Option<i64> {
        Some(day? - self.first_day()?)
    }

    /// Lesions at a time about which nobody has said which they are.
    pub(super) fn unmatched(&self) -> impl Iterator<Item = &LesionTimeRow<'t>> {
        self.times.iter().filter(|t| t.is_unmatched())
    }

    /// How many answers are missing.
    pub(super) fn open(&self) -> usize {
        self.unmatched().count()
    }

    /// The later structure sets, the earliest first, each once.
    pub(super) fn scans(&self) -> Vec<(i64, &str)> {
        let mut seen: BTreeSet<(i64, &str)> = BTreeSet::new();
        let later = self.times.iter().filter(|t| t.is_later()).map(|t| (t.day, t.plan_id));
        let looks = self.looks.iter().filter(|l| l.kind == "follow_up").map(|l| (l.day, l.plan_id));
        for (day, plan_id) in later.chain(looks) {
            if let Some(day) = self.since(day) {
                seen.insert((day, plan_id));
            }
        }
        seen.into_iter().collect()
    }

    /// The treated lesions that were drawn again.
    pub(super) fn treated(&self) -> Vec<Treated<'_>> {
        let mut list: BTreeMap<&str, Treated<'_>> = BTreeMap::new();
        for row in &self.times {
            let Some(lesion_id) = row.treated_lesion_id else { continue };
            let lesion = list.entry(lesion_id).or_insert_with(|| Treated {
                patient_id: self.patient_id,
                lesion_id,
                structure: "",
                times: Vec::new(),
                recurred: false,
            });
            if !row.is_later() {
                lesion.structure = row.structure;
            }
            let called = |r: &&RecurrenceRow<'_>| r.lesion_id == row.lesion_id;
            lesion.recurred |=
                self.later.iter().find(called).is_some_and(|r| r.recurrence == "yes");
            lesion.times.push(row);
        }
        let mut list: Vec<Treated<'_>> = list.into_values().collect();
        for lesion in &mut list {
            lesion.times.sort_by_key(|t| (t.is_later(), t.day, t.lesion_id));
        }
        list
    }
}

impl Treated<'_> {
    /// Later volumes in percent of that at the treatment, with the day since then; an empty list
    /// where none is known.
    pub(super) fn relative(&self) -> Vec<(i64, WithBounds)> {
        let mut points = Vec::new();
        for time in &self.times {
            if let (Some(days), Some(change)) = (time.days_since_treatment, time.volume_change()) {
                points.push((days, plus(change, 100.0)));
            }
        }
        points
    }

    /// The change with which it was smallest after its treatment.
    pub(super) fn best(&self) -> Option<WithBounds> {
        let changes = self.times.iter().filter_map(|t| t.volume_change());
        changes.min_by(|a, b| a.value.total_cmp(&b.value))
    }

    /// Why no later volume can be compared with the first.
    pub(super) fn why_not(&self) -> &str {
        let mut reason = self.times.iter().filter(|t| t.is_later()).map(|t| t.reason);
        match reason.next_back() {
            None => "it was not drawn again",
            Some("") => "a volume is missing",
            Some(reason) => reason,
        }
    }
}

fn plus(x: WithBounds, more: f64) -> WithBounds {
    let moved = |bound: Option<f64>| bound.map(|b| b + more);
    WithBounds { value: x.value + more, low: moved(x.low), high: moved(x.high) }
}

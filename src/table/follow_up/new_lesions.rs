//! Table `new_lesions`: for each follow-up and later course, how many lesions are new, and how many
//! appeared a year since the first treatment.

use std::borrow::Cow;
use std::collections::BTreeSet;

use super::{Identity, Patient, patients};
use crate::column::{Column, Sheet, borrowed, count};
use crate::study::Study;
use crate::table::Table;
use tidydose_metrics::follow_up::{Bounded, UNDECIDED, velocity};

pub(crate) const TABLE: Table = Table {
    name: "new_lesions",
    grain: "one time at which a patient was looked at again: a follow-up, or a later course",
    key: &["patient_id", "day", "plan_id"],
    by_case: false,
    sheet,
};

const KINDS: &[&str] = &["follow_up", "later_course"];
const CLASSES: &[&str] = &["low", "intermediate", "high", UNDECIDED];

struct Look {
    patient_id: String,
    plan_id: String,
    kind: &'static str,
    day: i64,
    days_since_first: i64,
    new: usize,
    undecided: usize,
    volume: Option<Bounded>,
    new_so_far: usize,
    undecided_so_far: usize,
    volume_so_far: Option<Bounded>,
}

impl Look {
    fn per_year(&self) -> Option<f64> {
        #[allow(clippy::cast_precision_loss)] // some ten lesions
        velocity::per_year(self.new_so_far as f64, self.days_since_first)
    }

    /// The class; open where lesions that nobody has decided about would change it.
    fn class(&self) -> Option<&'static str> {
        let own = velocity::class(self.per_year()?);
        #[allow(clippy::cast_precision_loss)] // some ten lesions
        let all = (self.new_so_far + self.undecided_so_far) as f64;
        let highest = velocity::class(velocity::per_year(all, self.days_since_first)?);
        Some(if own == highest { own } else { UNDECIDED })
    }
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut rows: Vec<Look> = patients(study).iter().flat_map(looks).collect();
    rows.sort_by(|a, b| {
        (&a.patient_id, a.day, &a.plan_id).cmp(&(&b.patient_id, b.day, &b.plan_id))
    });
    let mut columns = when();
    columns.extend(how_many());
    Sheet::new(columns, rows)
}

fn looks(patient: &Patient<'_>) -> Vec<Look> {
    let Some((first_day, first)) = patient.plans.first().copied() else { return Vec::new() };
    let mut times: Vec<(i64, &tidydose_case::Case)> = patient
        .plans
        .iter()
        .filter(|(day, c)| *day > first_day && c.id != first.id)
        .copied()
        .collect();
    times.extend(patient.follow_ups.iter().map(|(day, m)| (*day, m.case)));
    times.sort_by_key(|(day, case)| (*day, &case.id));
    let mut looks: Vec<Look> = Vec::new();
    let mut known: BTreeSet<String> = BTreeSet::new();
    let (mut undecided_so_far, mut volume_so_far) = (0, Some(Bounded::exactly(0.0)));
    for (day, case) in times {
        let (mut new, mut undecided) = (0, 0);
        let mut volume = Some(Bounded::exactly(0.0));
        for (id, drawn) in patient.drawn_in(case) {
            let is_new = drawn.entry.decision.is_some_and(|d| d.new);
            let decided = drawn.entry.decision.is_some_and(|d| d.new || d.same_as.is_some());
            let first_time = match &drawn.identity {
                Identity::New(first) => first == id,
                _ => is_new,
            };
            if is_new && first_time && known.insert(id.clone()) {
                new += 1;
                volume = volume.zip(drawn.sizes.volume()).map(|(a, b)| a.plus(b));
            } else if !decided {
                undecided += 1;
            }
        }
        undecided_so_far += undecided;
        volume_so_far = volume_so_far.zip(volume).map(|(a, b)| a.plus(b));
        looks.push(Look {
            patient_id: case.patient.as_ref().map_or_else(String::new, ToString::to_string),
            plan_id: case.id.to_string(),
            kind: if case.is_follow_up() { KINDS[0] } else { KINDS[1] },
            day,
            days_since_first: day - first_day,
            new,
            undecided,
            volume,
            new_so_far: known.len(),
            undecided_so_far,
            volume_so_far,
        });
    }
    looks
}

fn when() -> Vec<Column<Look>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r: &Look| borrowed(&r.patient_id)),
        Column::text("plan_id", "the follow-up, or the plan of the later course", |r| {
            borrowed(&r.plan_id)
        }),
        Column::word("kind", "whether it is a follow-up or a later course", KINDS, |r| {
            borrowed(r.kind)
        }),
        Column::integer("day", "d", "its day, from a zero hidden per patient", |r| Some(r.day)),
        Column::integer(
            "days_since_first_treatment",
            "d",
            "days since the first treatment in the archive",
            |r| Some(r.days_since_first),
        ),
    ]
}

fn how_many() -> Vec<Column<Look>> {
    vec![
        Column::integer(
            "n_new",
            "",
            "lesions that lesions.csv calls new at this time",
            |r: &Look| count(r.new),
        ),
        Column::integer("n_undecided", "", "lesions about which lesions.csv says nothing", |r| {
            count(r.undecided)
        }),
        Column::real(
            "new_volume_cc",
            "cc",
            "volume of the new ones; missing where one has none",
            |r| r.volume.map(|v| v.value),
        ),
        Column::real("new_volume_low_cc", "cc", "lower numerical bound of that volume", |r| {
            r.volume.map(|v| v.low)
        }),
        Column::real("new_volume_high_cc", "cc", "upper numerical bound of that volume", |r| {
            r.volume.map(|v| v.high)
        }),
        Column::integer("n_new_so_far", "", "new lesions since the first treatment", |r| {
            count(r.new_so_far)
        }),
        Column::real(
            "new_per_year",
            "",
            "new lesions a year since the first treatment: brain metastasis velocity (Farris et al. \
             2017); undecided lesions are not in it",
            Look::per_year,
        ),
        Column::word(
            "velocity_class",
            "low below 4, intermediate 4 to 13, high above 13 new lesions a year; undecided where \
             lesions that nobody has decided about would change it",
            CLASSES,
            |r| r.class().map(Cow::Borrowed),
        ),
        Column::real(
            "new_cc_per_year",
            "",
            "volume of new lesions in cc a year, as new_per_year",
            |r| velocity::per_year(r.volume_so_far?.value, r.days_since_first),
        ),
    ]
}

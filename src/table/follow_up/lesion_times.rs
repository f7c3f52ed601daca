//! Table `follow_up`: one row for each lesion and time of a patient who has a structure set that was
//! drawn after a treatment: the treated lesion itself, and each time at which it was drawn again.

use std::borrow::Cow;

use strum::VariantNames;

use super::{Drawn, Identity, Patient, bounded, patients};
use crate::column::{Column, Sheet, borrowed, count};
use crate::structure_names::shown_name;
use crate::study::Study;
use crate::table::Table;
use tidydose_case::FollowUpDay;
use tidydose_metrics::follow_up::Bounded;
use tidydose_metrics::follow_up::response::LEAST_VOLUME_CC;
use tidydose_metrics::{Outcome, Status};

pub(crate) const TABLE: Table = Table {
    name: "follow_up",
    grain: "one lesion at one time, of patients with a structure set drawn after a treatment",
    key: &["patient_id", "day", "lesion_id"],
    by_case: false,
    sheet,
};

const TIMES: &[&str] = &["treatment", "follow_up"];
const MATCHES: &[&str] = &["user", "new", "gone", "unmatched"];

struct LesionTime {
    patient_id: Option<String>,
    plan_id: String,
    lesion_id: String,
    structure: Option<String>,
    drawn_as: Option<&'static str>,
    treated_lesion_id: Option<String>,
    is_follow_up: bool,
    match_basis: &'static str,
    day: Option<i64>,
    day_source: Option<&'static str>,
    days_since: Option<i64>,
    planes: usize,
    measurable: Option<bool>,
    sizes: [Option<Outcome>; 3],
    /// Volume against the treatment, against the smallest before, longest diameter against both.
    changes: [Option<Bounded>; 4],
    remark: Option<&'static str>,
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut rows = Vec::new();
    for patient in patients(study) {
        rows.extend(patient.drawn.values().filter_map(|drawn| row(&patient, drawn)));
        for treated in patient.drawn.values() {
            rows.extend(gone(&patient, treated));
        }
    }
    rows.sort_by(|a, b| {
        let key = |r: &LesionTime| (r.patient_id.clone(), r.day, r.lesion_id.clone());
        key(a).cmp(&key(b))
    });
    let mut columns = who();
    columns.extend(when());
    for place in 0..SIZES.len() {
        columns.extend(size_columns(place));
    }
    for place in 0..CHANGES.len() {
        columns.extend(change_columns(place));
    }
    columns.push(Column::text(
        "reason",
        "why a change is missing, or what to mind about it; missing without either",
        |r: &LesionTime| r.remark.map(Cow::Borrowed),
    ));
    Sheet::new(columns, rows)
}

/// A treated lesion has a row where a later one is said to be it.
fn row(patient: &Patient<'_>, drawn: &Drawn<'_>) -> Option<LesionTime> {
    let case = drawn.entry.measured.case;
    let is_follow_up = case.is_follow_up();
    let treated = match &drawn.identity {
        Identity::Treated(id) => Some(id.clone()),
        Identity::New(_) | Identity::Undecided => None,
    };
    let id = &drawn.entry.id;
    if !is_follow_up && patient.times_of(id).len() < 2 && patient.gone_in(id).is_empty() {
        return None;
    }
    let treated_at = match &treated {
        Some(id) => patient.drawn.get(id).and_then(|d| d.day),
        None => drawn
            .day
            .and_then(|day| patient.plans.iter().rev().find(|(d, _)| *d < day).map(|(d, _)| *d)),
    };
    let name = drawn.entry.measured.name(drawn.sizes.roi_number);
    let (changes, remark) = changes(patient, drawn, treated.as_deref());
    Some(LesionTime {
        patient_id: drawn.entry.measured.patient().map(str::to_owned),
        plan_id: case.id.to_string(),
        lesion_id: drawn.entry.id.clone(),
        structure: name.map(|n| shown_name(n).to_owned()),
        drawn_as: name.map(|n| n.role.word()),
        is_follow_up,
        match_basis: drawn.identity.word(),
        day: drawn.day,
        day_source: case.follow_up.as_ref().map(|f| f.day_source.word()),
        days_since: drawn.day.zip(treated_at).map(|(day, then)| day - then),
        planes: drawn.sizes.planes,
        measurable: drawn.sizes.is_measurable(),
        sizes: [&drawn.sizes.volume, &drawn.sizes.longest, &drawn.sizes.across].map(Clone::clone),
        changes,
        remark,
        treated_lesion_id: treated,
    })
}

/// A treated lesion at each time at which nothing is left of it, as `lesions.csv` says.
fn gone(patient: &Patient<'_>, treated: &Drawn<'_>) -> Vec<LesionTime> {
    let mut rows = Vec::new();
    for (day, case) in patient.gone_in(&treated.entry.id) {
        let sizes = super::Sizes::nothing();
        let list = [&sizes.volume, &sizes.longest, &sizes.across].map(Clone::clone);
        rows.push(LesionTime {
            patient_id: treated.entry.measured.patient().map(str::to_owned),
            plan_id: case.id.to_string(),
            lesion_id: treated.entry.id.clone(),
            structure: None,
            drawn_as: None,
            treated_lesion_id: Some(treated.entry.id.clone()),
            is_follow_up: true,
            match_basis: "gone",
            day: Some(day),
            day_source: case.follow_up.as_ref().map(|f| f.day_source.word()),
            days_since: treated.day.map(|then| day - then),
            planes: 0,
            measurable: Some(false),
            changes: changes_of(patient, &sizes, &treated.entry.id, day),
            sizes: list,
            remark: Some("lesions.csv says that nothing is left of it"),
        });
    }
    rows
}

type Changes = ([Option<Bounded>; 4], Option<&'static str>);

fn changes(patient: &Patient<'_>, drawn: &Drawn<'_>, treated: Option<&str>) -> Changes {
    if !drawn.entry.measured.case.is_follow_up() {
        return ([None; 4], None);
    }
    let (Some(treated), Some(day)) = (treated, drawn.day) else {
        let reason = match drawn.identity {
            Identity::New(_) => "new: there is no treatment of it to compare with",
            _ => "lesions.csv does not say which treated lesion it is",
        };
        return ([None; 4], Some(reason));
    };
    let list = changes_of(patient, &drawn.sizes, treated, day);
    let baseline = patient.before(treated, day, super::Sizes::volume).map(|b| b.baseline);
    (list, remark(patient, treated, baseline, list[0]))
}

/// Volume and longest diameter against those at the treatment and at their smallest.
fn changes_of(
    patient: &Patient<'_>,
    sizes: &super::Sizes,
    treated: &str,
    day: i64,
) -> [Option<Bounded>; 4] {
    let change = |now: Option<Bounded>, then: Option<Bounded>| now?.change_percent(then?);
    let volume = patient.before(treated, day, super::Sizes::volume);
    let longest = patient.before(treated, day, super::Sizes::longest);
    [
        change(sizes.volume(), volume.map(|b| b.baseline)),
        change(sizes.volume(), volume.map(|b| b.nadir)),
        change(sizes.longest(), longest.map(|b| b.baseline)),
        change(sizes.longest(), longest.map(|b| b.nadir)),
    ]
}

fn remark(
    patient: &Patient<'_>,
    treated: &str,
    baseline: Option<Bounded>,
    change: Option<Bounded>,
) -> Option<&'static str> {
    let then = patient.drawn.get(treated)?;
    let role = then.entry.measured.name(then.sizes.roi_number).map(|n| n.role.word());
    if change.is_none() {
        return Some("volume or bounds of one of the times are not known");
    }
    if matches!(role, Some("ptv" | "ctv")) {
        return Some("the plan has no GTV of it: what was treated may hold a margin");
    }
    (baseline.is_some_and(|b| b.value < LEAST_VOLUME_CC)).then_some(
        "smaller than 0.1 cc when it was treated: relative changes of its volume say little",
    )
}

fn who() -> Vec<Column<LesionTime>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r: &LesionTime| {
            r.patient_id.as_deref().map(Cow::Borrowed)
        }),
        Column::text(
            "plan_id",
            "the plan that treated it, or the structure set in which it was drawn later",
            |r| borrowed(&r.plan_id),
        ),
        Column::text("lesion_id", "the lesion at this time, as in table lesions", |r| {
            borrowed(&r.lesion_id)
        }),
        Column::text("structure", "name of the structure that is measured", |r| {
            r.structure.as_deref().map(Cow::Borrowed)
        }),
        Column::text(
            "drawn_as",
            "what that structure is: the innermost GTV, else a target of unstated kind, a CTV or PTV",
            |r| r.drawn_as.map(Cow::Borrowed),
        ),
        Column::text(
            "treated_lesion_id",
            "lesion_id of the treated lesion that it is, as lesions.csv says; missing while nobody \
             has decided, and for a new one",
            |r| r.treated_lesion_id.as_deref().map(Cow::Borrowed),
        ),
        Column::word(
            "match_basis",
            "whether lesions.csv names the treated lesion, calls it new, says that nothing is left of it \
             (lesion_id is then that of its treatment), or nobody has decided",
            MATCHES,
            |r| borrowed(r.match_basis),
        ),
    ]
}

fn when() -> Vec<Column<LesionTime>> {
    vec![
        Column::word("time_point", "whether it is the treatment or a time after it", TIMES, |r| {
            borrowed(if r.is_follow_up { "follow_up" } else { "treatment" })
        }),
        Column::integer(
            "day",
            "d",
            "day of the images, else of the structure set or plan, from a zero hidden per patient",
            |r: &LesionTime| r.day,
        ),
        Column::word(
            "day_source",
            "where the day of a follow-up comes from; missing for a treatment",
            FollowUpDay::VARIANTS,
            |r| r.day_source.map(Cow::Borrowed),
        ),
        Column::integer(
            "days_since_treatment",
            "d",
            "days since its treatment, of a new or undecided one since the latest treatment before",
            |r| r.days_since,
        ),
        Column::integer("n_planes", "", "planes on which it was drawn", |r| count(r.planes)),
        Column::boolean(
            "measurable",
            "whether criteria for the brain measure it: at least 10 mm long and 5 mm across on two \
             planes or more (RANO-BM; minimum read in a summary); missing without diameters",
            |r| r.measurable,
        ),
    ]
}

struct SizeWords {
    name: &'static str,
    unit: &'static str,
    meaning: &'static str,
}

const SIZES: [SizeWords; 3] = [
    SizeWords { name: "volume", unit: "cc", meaning: "volume" },
    SizeWords { name: "longest", unit: "mm", meaning: "longest diameter on one plane" },
    SizeWords {
        name: "across",
        unit: "mm",
        meaning: "longest chord across the longest diameter on its plane",
    },
];

fn size_columns(place: usize) -> Vec<Column<LesionTime>> {
    let words = &SIZES[place];
    let SizeWords { name, unit, meaning } = words;
    let high = match *unit {
        "mm" => format!(
            "upper bound of the {meaning}, with what a plane between two drawn ones may have had: \
             for a ball √(value² + spacing of planes²)"
        ),
        _ => format!("upper numerical bound of the {meaning}"),
    };
    let meanings = [(*meaning).to_owned(), format!("lower numerical bound of the {meaning}"), high];
    let mut columns =
        Column::bounded_at([name, unit], unit, meanings, place, |r: &LesionTime, at| {
            let size = r.sizes.get(at).and_then(Option::as_ref);
            size.map_or([None; 3], bounded)
        });
    columns.push(Column::word_at(
        format!("{name}_status"),
        format!("why there is or is not a {meaning}; missing where it is no metric of this run"),
        Status::VARIANTS,
        place,
        |r: &LesionTime, at| borrowed(r.sizes.get(at)?.as_ref()?.status.word()),
    ));
    columns
}

const CHANGES: [[&str; 2]; 4] = [
    ["volume_change", "change of its volume since its treatment"],
    ["volume_regrowth", "change of its volume since it was smallest after its treatment"],
    ["longest_change", "change of its longest diameter since its treatment"],
    ["longest_regrowth", "change of its longest diameter since it was smallest"],
];

fn change_columns(place: usize) -> Vec<Column<LesionTime>> {
    let [name, meaning] = CHANGES[place];
    let of = |side: &str| format!("{side} bound of the {meaning}, by the bounds of both times");
    let meanings = [meaning.to_owned(), of("lower"), of("upper")];
    Column::bounded_at([name, "percent"], "%", meanings, place, |r: &LesionTime, at| {
        let change = r.changes.get(at).copied().flatten();
        change.map_or([None; 3], |c| [c.value, c.low, c.high].map(Some))
    })
}

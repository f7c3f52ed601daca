//! Table `lesions`: one row per lesion of a plan, with the targets that were drawn for it, its
//! prescription, and the lesion of an earlier course that it is, once the user has said so. Sums of
//! targets are not here.

use std::borrow::Cow;

use strum::VariantNames;

use super::column::{Column, Sheet, borrowed, count};
use super::structure_names::{shown_name, structure_id};
use super::study::{Measured, Study};
use super::table::Table;
use super::user::lesion_file::LesionDecision;
use tidydose_analyse::{Lesion, SeenSide};
use tidydose_case::{Prescription, PrescriptionBasis};
use tidydose_metrics::Status;

pub(super) const TABLE: Table = Table {
    name: "lesions",
    grain: "one lesion of a case: targets that lie within each other",
    key: &["lesion_id"],
    by_case: true,
    sheet,
};

const GROUPINGS: &[&str] = &["single", "geometry", "no_shape"];
const LABELS: &[&str] = &["user", "suggested_confirmed", "unmatched"];
const MATCHES: &[&str] = &["user", "new", "unmatched"];

/// A lesion with what belongs to it.
pub(super) struct LesionEntry<'a> {
    pub(super) measured: Measured<'a>,
    pub(super) id: String,
    pub(super) lesion: &'a Lesion,
    pub(super) decision: Option<&'a LesionDecision>,
    confirmed: Option<&'a str>,
    pub(super) prescription: Option<&'a Prescription>,
}

impl<'a> LesionEntry<'a> {
    /// The clinic's label and who says so; what stands in `lesions.csv` goes first.
    pub(super) fn label(&self) -> (Option<&'a str>, &'static str) {
        match (self.decision.and_then(|d| d.clinical_label.as_deref()), self.confirmed) {
            (Some(own), _) => (Some(own), "user"),
            (None, Some(confirmed)) => (Some(confirmed), "suggested_confirmed"),
            (None, None) => (None, "unmatched"),
        }
    }
}

/// The lesions of plans, without those drawn after a treatment.
pub(super) fn of_plans<'a>(study: &Study<'a>) -> Vec<LesionEntry<'a>> {
    let mut list = rows(study);
    list.retain(|row| !row.measured.case.is_follow_up());
    list
}

/// All lesions, by patient and case.
pub(super) fn rows<'a>(study: &Study<'a>) -> Vec<LesionEntry<'a>> {
    let mut rows = Vec::new();
    for measured in study.measured() {
        for lesion in measured.analysis.map_or(&[][..], |a| &a.lesions) {
            let id = structure_id(measured.case, lesion.roi_number);
            let decision = study.lesion_decisions.get(&id);
            let confirmed = study.confirmed_labels.get(&id).map(String::as_str);
            let prescription = prescription(measured, lesion);
            rows.push(LesionEntry { measured, id, lesion, decision, confirmed, prescription });
        }
    }
    rows
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut columns = target_columns();
    columns.extend(place_columns());
    columns.extend(prescription_columns());
    columns.extend(course_columns());
    Sheet::new(columns, rows(study))
}

/// The targets of a lesion, planning targets first, then from the outside in.
fn members(lesion: &Lesion) -> impl Iterator<Item = i64> + '_ {
    let outermost = std::iter::once(lesion.roi_number);
    outermost.chain(
        [&lesion.ptv, &lesion.ctv, &lesion.gtv, &lesion.other].into_iter().flatten().copied(),
    )
}

/// The prescription of the outermost target, else of the next one that has one.
fn prescription<'a>(measured: Measured<'a>, lesion: &Lesion) -> Option<&'a Prescription> {
    let list = &measured.case.prescriptions;
    members(lesion).find_map(|number| list.iter().find(|p| p.roi_number == number))
}

fn numbers<'r>(list: &[i64]) -> Option<Cow<'r, str>> {
    let words: Vec<_> = list.iter().map(ToString::to_string).collect();
    (!words.is_empty()).then(|| Cow::Owned(words.join(" ")))
}

/// Volume as measured of the outermost structure of a list, cc; absent where it is not known well
/// enough to count.
pub(super) fn volume(row: &LesionEntry<'_>, list: &[i64]) -> Option<f64> {
    let number = list.first()?;
    let results = &row.measured.analysis?.structures;
    let volume = &results.iter().find(|r| r.roi_number == *number)?.volume;
    volume.value.filter(|_| volume.status == Status::Ok)
}

fn target_columns<'a>() -> Vec<Column<LesionEntry<'a>>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r| {
            r.measured.patient().map(Cow::Borrowed)
        }),
        Column::text(
            "plan_id",
            "the plan, as in table plans. Where dose and structures came without a plan, one of them \
             stands here instead",
            |r| borrowed(r.measured.case.id.as_str()),
        ),
        Column::text(
            "lesion_id",
            "the lesion, the pseudonym of its plan and the ROI Number of the \
             target that stands for it, which is the largest one drawn for it (as a rule the PTV). In another plan the same lesion has another lesion_id",
            |r| borrowed(&r.id),
        ),
        Column::text(
            "structure",
            "name of the target that stands for the lesion, see lesion_id",
            |r| r.measured.name(r.lesion.roi_number).and_then(|n| borrowed(shown_name(n))),
        ),
        Column::text("gtv_numbers", "ROI Numbers of its GTVs", |r| numbers(&r.lesion.gtv)),
        Column::text("ctv_numbers", "ROI Numbers of its CTVs", |r| numbers(&r.lesion.ctv)),
        Column::text("ptv_numbers", "ROI Numbers of its PTVs, the largest first", |r| {
            numbers(&r.lesion.ptv)
        }),
        Column::text(
            "target_numbers",
            "ROI Numbers of its targets that are not said to be GTV, CTV or PTV",
            |r| numbers(&r.lesion.other),
        ),
        Column::text(
            "boost_numbers",
            "ROI Numbers of smaller CTVs and PTVs inside one of the same kind, as for a boost",
            |r| numbers(&r.lesion.boosts),
        ),
        Column::word(
            "grouping",
            "how the targets of the lesion were found to belong together",
            GROUPINGS,
            |r| borrowed(r.lesion.basis),
        ),
    ]
}

fn place_columns<'a>() -> Vec<Column<LesionEntry<'a>>> {
    vec![
        Column::word(
            "side",
            "side of the patient on which the centre of its GTV, else of its target lies: left, right, \
             or middle, which is within 3 mm of the middle plane of Brain and paired organs",
            SeenSide::VARIANTS,
            |r| side(r),
        ),
        Column::real("centre_x_mm", "mm", "centre, towards the patient's left", |r| {
            r.lesion.centre_mm.map(|c| c[0])
        }),
        Column::real("centre_y_mm", "mm", "centre, towards the back", |r| {
            r.lesion.centre_mm.map(|c| c[1])
        }),
        Column::real("centre_z_mm", "mm", "centre, towards the head", |r| {
            r.lesion.centre_mm.map(|c| c[2])
        }),
        Column::real(
            "gtv_volume_cc",
            "cc",
            "volume of its GTV, of several that of the largest alone; missing when uncertain",
            |r| volume(r, &r.lesion.gtv),
        ),
        Column::real(
            "ptv_volume_cc",
            "cc",
            "volume of its PTV, of several that of the largest alone; missing when uncertain",
            |r| volume(r, &r.lesion.ptv),
        ),
        Column::real(
            "volume_cc",
            "cc",
            "volume of the target that stands for the lesion, see lesion_id; missing when uncertain",
            |r| volume(r, &[r.lesion.roi_number]),
        ),
    ]
}

/// What the target that stands for a lesion may be.
pub(super) const TARGET_KINDS: &[&str] = &["gtv", "ctv", "ptv", "target"];

/// Kind of the target that stands for the lesion.
pub(super) fn target_kind<'r>(row: &LesionEntry<'_>) -> Option<Cow<'r, str>> {
    row.measured.name(row.lesion.roi_number).map(|n| Cow::Borrowed(n.role.word()))
}

/// Side of its innermost GTV.
pub(super) fn side<'r>(row: &LesionEntry<'_>) -> Option<Cow<'r, str>> {
    let evidence = &row.measured.analysis?.evidence;
    let inner = row.lesion.gtv.last().copied().unwrap_or(row.lesion.roi_number);
    let seen = evidence.iter().find(|e| e.roi_number == inner)?;
    seen.side.map(|s| Cow::Borrowed(s.word()))
}

/// Prescribed dose against the largest dose in the target, %.
pub(super) fn isodose_percent(row: &LesionEntry<'_>) -> Option<f64> {
    Some(100.0 * row.prescription?.dose.value() / maximum_gy(row)?)
}

/// Largest dose in the target that is prescribed to, Gy.
fn maximum_gy(row: &LesionEntry<'_>) -> Option<f64> {
    let number = row.prescription?.roi_number;
    let measured = &row.measured.analysis?.measurements;
    let largest = measured.iter().find(|m| m.roi_number == number && m.metric == "Max[Gy]")?;
    largest.outcome.value.filter(|_| largest.outcome.status == Status::Ok)
}

pub(super) fn fractions(row: &LesionEntry<'_>) -> Option<u32> {
    row.measured.case.plan.as_ref()?.fractions().filter(|n| *n > 0)
}

fn prescription_columns<'a>() -> Vec<Column<LesionEntry<'a>>> {
    vec![
        Column::real(
            "prescription_dose_gy",
            "Gy",
            "prescribed dose, all fractions together",
            |r| r.prescription.map(|p| p.dose.value()),
        ),
        Column::word(
            "prescription_basis",
            "where the prescribed dose comes from",
            PrescriptionBasis::VARIANTS,
            |r| r.prescription.and_then(|p| borrowed(p.basis.word())),
        ),
        Column::integer(
            "fractions_planned",
            "",
            "fractions planned, all fraction groups together",
            |r| fractions(r).map(i64::from),
        ),
        Column::real(
            "dose_per_fraction_gy",
            "Gy",
            "prescribed dose divided by the number of fractions",
            |r| Some(r.prescription?.dose.value() / f64::from(fractions(r)?)),
        ),
        Column::real(
            "prescription_isodose_percent",
            "%",
            "prescribed dose divided by the largest dose in the target, as computed here",
            isodose_percent,
        ),
        Column::text("prescription_reason", "why there is none; missing when there is", |r| {
            let reason = "neither the plan nor prescriptions.csv states a dose for it";
            r.prescription.is_none().then_some(Cow::Borrowed(reason))
        }),
    ]
}

fn course_columns<'a>() -> Vec<Column<LesionEntry<'a>>> {
    vec![
        Column::text(
            "earlier_lesion_id",
            "lesion_id of the same lesion in an earlier course; missing unless lesions.csv says so",
            |r| r.decision?.same_as.as_deref().map(Cow::Borrowed),
        ),
        Column::word(
            "match_basis",
            "whether lesions.csv names an earlier lesion, calls it new, or nobody has decided",
            MATCHES,
            |r| {
                borrowed(match r.decision {
                    Some(LesionDecision { same_as: Some(_), .. }) => "user",
                    Some(LesionDecision { new: true, .. }) => "new",
                    _ => "unmatched",
                })
            },
        ),
        Column::text("clinical_label", "what the clinic calls it", |r| {
            r.label().0.map(Cow::Borrowed)
        }),
        Column::word(
            "label_basis",
            "which file gives that label: lesions.csv, a confirmed suggestion, or none",
            LABELS,
            |r| borrowed(r.label().1),
        ),
        Column::integer("n_targets", "", "targets that were drawn for it", |r| {
            let lists = [&r.lesion.gtv, &r.lesion.ctv, &r.lesion.ptv, &r.lesion.other];
            count(lists.iter().map(|l| l.len()).sum())
        }),
    ]
}

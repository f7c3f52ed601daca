//! What is known of a lesion besides its values, as columns that may be chosen for table `analysis`.

use std::borrow::Cow;

use strum::VariantNames;

use crate::column::{Column, borrowed, count};
use crate::lesions::{self, LesionEntry};
use crate::structure_names::shown_name;
use crate::wide::values::Found;
use tidydose_analyse::SeenSide;
use tidydose_case::{PlanRole, PrescriptionBasis, Technology};
use tidydose_metrics::Status;

/// A lesion with the chosen values, in their order.
pub(super) struct AnalysisEntry<'a> {
    pub(super) row: LesionEntry<'a>,
    pub(super) values: Vec<Found>,
}

/// Whose values they are: the first columns, whatever is chosen.
pub(super) const KEYS: [&str; 3] = ["patient_id", "plan_id", "lesion_id"];

/// The metrics that column `gradient_index` may hold.
pub(super) const GRADIENTS: [&str; 2] = ["PaddickGradient", "PaddickGradientNearest"];

/// Every fact, in the order of a new `columns.csv`.
pub(super) fn facts<'a>() -> Vec<Column<AnalysisEntry<'a>>> {
    let mut columns = of_names();
    columns.extend(of_plan());
    columns.extend(of_prescription());
    columns.extend(of_lesion());
    columns
}

fn of_names<'a>() -> Vec<Column<AnalysisEntry<'a>>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r: &AnalysisEntry<'a>| {
            r.row.measured.patient().map(Cow::Borrowed)
        })
        .labelled("Patient"),
        Column::text("plan_id", "the case, as in table plans", |r: &AnalysisEntry<'a>| {
            borrowed(r.row.measured.case.id.as_str())
        })
        .labelled("Plan"),
        Column::text("lesion_id", "structure_id of its largest target", |r: &AnalysisEntry<'a>| {
            borrowed(&r.row.id)
        })
        .labelled("Lesion"),
        Column::text("structure", "name of its outermost target", |r: &AnalysisEntry<'a>| {
            let name = r.row.measured.name(r.row.lesion.roi_number)?;
            borrowed(shown_name(name))
        })
        .labelled("Structure"),
        Column::text(
            "structure_original",
            "ROI Name of its outermost target, as in the file",
            |r: &AnalysisEntry<'a>| {
                let name = r.row.measured.name(r.row.lesion.roi_number)?;
                borrowed(&name.original)
            },
        )
        .labelled("Structure as drawn"),
        Column::text(
            "clinical_label",
            "what the clinic calls it; missing without a label",
            |r: &AnalysisEntry<'a>| r.row.label().0.map(Cow::Borrowed),
        )
        .labelled("Label of the clinic"),
    ]
}

fn of_plan<'a>() -> Vec<Column<AnalysisEntry<'a>>> {
    vec![
        Column::word(
            "technology",
            "kind of machine that the plan is made for",
            Technology::VARIANTS,
            |r: &AnalysisEntry<'a>| borrowed(r.row.measured.case.technology.word()),
        )
        .labelled("Technology"),
        Column::integer(
            "day_plan",
            "d",
            "day of RT Plan Date from a zero hidden per patient",
            |r: &AnalysisEntry<'a>| r.row.measured.case.plan.as_ref()?.day.map(|d| d.0),
        )
        .labelled("Day of the plan"),
        Column::integer(
            "day_first_fraction",
            "d",
            "first day of treatment, see day_plan; missing without treatment records",
            |r: &AnalysisEntry<'a>| r.row.measured.case.treatment.delivery?.first_day.map(|d| d.0),
        )
        .labelled("Day of the first fraction"),
        Column::integer(
            "era",
            "",
            "first of the five years in which RT Plan Date lies",
            |r: &AnalysisEntry<'a>| r.row.measured.case.plan.as_ref()?.era.map(i64::from),
        )
        .labelled("Five years from"),
        Column::word(
            "plan_role",
            "part of the plan in the treatment",
            PlanRole::VARIANTS,
            |r: &AnalysisEntry<'a>| borrowed(r.row.measured.case.role().word()),
        )
        .labelled("Part of the plan"),
        Column::boolean(
            "in_study",
            "whether its plan counts, see plans.in_study",
            |r: &AnalysisEntry<'a>| Some(r.row.measured.is_in_study()),
        )
        .labelled("Counts in the study"),
        Column::integer(
            "n_lesions_of_plan",
            "",
            "lesions of the plan, this one included",
            |r: &AnalysisEntry<'a>| count(r.row.measured.analysis?.lesions.len()),
        )
        .labelled("Lesions of the plan"),
    ]
}

fn of_prescription<'a>() -> Vec<Column<AnalysisEntry<'a>>> {
    vec![
        Column::integer(
            "fractions_planned",
            "",
            "fractions planned, over all groups",
            |r: &AnalysisEntry<'a>| lesions::fractions(&r.row).map(i64::from),
        )
        .labelled("Fractions"),
        Column::real(
            "prescription_dose_gy",
            "Gy",
            "prescribed dose, all fractions; missing where nobody states one",
            |r: &AnalysisEntry<'a>| r.row.prescription.map(|p| p.dose.value()),
        )
        .labelled("Prescription"),
        Column::word(
            "prescription_basis",
            "where the prescription came from",
            PrescriptionBasis::VARIANTS,
            |r: &AnalysisEntry<'a>| r.row.prescription.and_then(|p| borrowed(p.basis.word())),
        )
        .labelled("Source of the prescription"),
        Column::real(
            "dose_per_fraction_gy",
            "Gy",
            "prescribed dose over fractions",
            |r: &AnalysisEntry<'a>| {
                Some(r.row.prescription?.dose.value() / f64::from(lesions::fractions(&r.row)?))
            },
        )
        .labelled("Dose per fraction"),
        Column::real(
            "prescription_isodose_percent",
            "%",
            "prescribed dose divided by the largest dose in the target, as computed here",
            |r: &AnalysisEntry<'a>| lesions::isodose_percent(&r.row),
        )
        .labelled("Prescription isodose"),
    ]
}

fn of_lesion<'a>() -> Vec<Column<AnalysisEntry<'a>>> {
    vec![
        Column::word(
            "side",
            "side of the brain's middle plane",
            SeenSide::VARIANTS,
            |r: &AnalysisEntry<'a>| lesions::side(&r.row),
        )
        .labelled("Side"),
        Column::text(
            "earlier_lesion_id",
            "lesion of an earlier course that it is; missing unless lesions.csv says so",
            |r: &AnalysisEntry<'a>| {
                let decision = r.row.decision?;
                decision.same_as.as_deref().map(Cow::Borrowed)
            },
        )
        .labelled("Lesion of an earlier course"),
        Column::word(
            "gradient_metric",
            "which metric gradient_index is: the second one where isodoses of several targets have \
             merged; missing where there is no value",
            &GRADIENTS,
            gradient_metric,
        )
        .labelled("Metric of the gradient index"),
    ]
}

/// The first where it has a value, the second where the first one has no meaning.
fn gradient_metric<'r>(entry: &AnalysisEntry<'_>) -> Option<Cow<'r, str>> {
    let rows = &entry.row.measured.analysis?.measurements;
    let number = entry.row.lesion.roi_number;
    let of = |metric: &str| rows.iter().find(|m| m.roi_number == number && m.metric == metric);
    let has_value = |metric: &str| of(metric).is_some_and(|m| m.outcome.value.is_some());
    let [first, second] = GRADIENTS;
    let merged = of(first)?.outcome.status == Status::NotApplicable;
    let taken = if merged { second } else { first };
    has_value(taken).then_some(Cow::Borrowed(taken))
}

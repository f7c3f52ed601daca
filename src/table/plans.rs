//! Table `plans`: one row per case, measured or not, with what was intended, how it was joined and
//! why it is left out.

use std::borrow::Cow;
use std::collections::BTreeSet;

use strum::VariantNames;

use super::causes::{Cause, Member};
use super::column::{Column, Sheet, borrowed, count};
use super::study::{Measured, Study};
use super::table::Table;
use tidydose_case::{
    Course, DateSource, Delivery, DeliverySource, FrameLink, LinkMethod, PlanRole, Prescription,
    PrescriptionBasis, RoleReason, Technology, courses, isocentres, planned_meterset,
};
use tidydose_rt::finding::Severity;
use tidydose_rt::{DoseType, DoseUnits, ImageSeries};

pub(super) const TABLE: Table = Table {
    name: "plans",
    grain: "one case: a plan with its structure set and dose, or what there is of them",
    key: &["plan_id"],
    by_case: false,
    sheet,
};

struct PlanEntry<'a> {
    measured: Measured<'a>,
    prescription: Option<&'a Prescription>,
    image: Option<&'a ImageSeries>,
    stops: usize,
    checks: usize,
    course: Option<Course>,
    settings_digest: &'a str,
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let findings = super::findings::all(study);
    let courses = courses(study.cases);
    let rows = study.measured().into_iter().map(|measured| PlanEntry {
        measured,
        course: courses.get(&measured.case.id).copied(),
        prescription: highest(&measured.case.prescriptions),
        image: image(study, measured),
        stops: findings_of(&findings, measured, Severity::Stop),
        checks: findings_of(&findings, measured, Severity::Check),
        settings_digest: study.settings_digest,
    });
    let mut columns = intent_columns();
    columns.extend(beam_columns());
    columns.extend(treatment_columns());
    columns.extend(course_columns());
    columns.extend(link_columns());
    columns.extend(dose_columns());
    columns.extend(outcome_columns());
    Sheet::new(columns, rows.collect())
}

/// The highest prescription of the case; of equal ones that of the lowest ROI Number.
pub(super) fn highest(list: &[Prescription]) -> Option<&Prescription> {
    list.iter().max_by(|a, b| {
        let by_dose = a.dose.value().total_cmp(&b.dose.value());
        by_dose.then(b.roi_number.cmp(&a.roi_number))
    })
}

/// The image series in the frame of the structure set, if there is exactly one.
fn image<'a>(study: &Study<'a>, measured: Measured<'a>) -> Option<&'a ImageSeries> {
    let frame = measured.case.structure_set.as_ref()?.frame.as_ref()?;
    let mut fitting = study
        .inventory
        .images
        .iter()
        .filter(|i| i.frame.as_ref() == Some(frame) && i.patient == measured.case.patient);
    fitting.next().filter(|_| fitting.next().is_none())
}

fn findings_of(findings: &[Cause<'_>], measured: Measured<'_>, severity: Severity) -> usize {
    let own = |m: &Member<'_>| m.finding.subject.case.as_ref() == Some(&measured.case.id);
    findings.iter().filter(|c| c.severity() == severity && c.members.iter().any(own)).count()
}

/// Distinct texts in ascending order, separated by a space.
fn joined<'a>(texts: impl Iterator<Item = &'a str>) -> Option<Cow<'static, str>> {
    let set: BTreeSet<&str> = texts.collect();
    (!set.is_empty()).then(|| Cow::Owned(set.into_iter().collect::<Vec<_>>().join(" ")))
}

const METERSET: &str = "monitor units or minutes planned over all fractions; missing unless every \
     treatment beam states them in this unit";

fn intent_columns<'a>() -> Vec<Column<PlanEntry<'a>>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym; missing without Patient ID", |r| {
            r.measured.patient().map(Cow::Borrowed)
        }),
        Column::text(
            "plan_id",
            "the case: pseudonym of its plan, or of its dose or structure set where there is none",
            |r| borrowed(r.measured.case.id.as_str()),
        ),
        Column::word(
            "technology",
            "kind of machine that the plan is made for, recognised by its beams",
            Technology::VARIANTS,
            |r| borrowed(r.measured.case.technology.word()),
        ),
        Column::text(
            "technology_basis",
            "the DICOM attributes by which the technology was recognised",
            |r| borrowed(&r.measured.case.technology_basis),
        ),
        Column::text("machine_id", "treatment machines, as pseudonyms", |r| {
            let beams = &r.measured.case.plan.as_ref()?.beams;
            joined(beams.iter().filter_map(|b| b.machine.as_ref()).map(|m| m.as_str()))
        }),
        Column::integer(
            "day_plan",
            "d",
            "day of RT Plan Date from a zero hidden per patient",
            |r| r.measured.case.plan.as_ref()?.day.map(|d| d.0),
        ),
        Column::integer("era", "", "first of the five years in which RT Plan Date lies", |r| {
            r.measured.case.plan.as_ref()?.era.map(i64::from)
        }),
        Column::text("intent", "Plan Intent (300A,000A)", |r| {
            r.measured.case.plan.as_ref()?.intent.as_deref().map(Cow::Borrowed)
        }),
        Column::text("approval_status", "Approval Status (300E,0002)", |r| {
            r.measured.case.plan.as_ref()?.approval.as_deref().map(Cow::Borrowed)
        }),
        Column::integer(
            "n_targets",
            "",
            "targets drawn: GTVs, CTVs and PTVs each counted, sums of targets not",
            |r| count(r.measured.case.names.iter().filter(|n| n.role.is_target()).count()),
        ),
        Column::integer("n_structures", "", "structures that the structure set lists", |r| {
            count(r.measured.case.structure_set.as_ref()?.rois.len())
        }),
    ]
}

fn beam_columns<'a>() -> Vec<Column<PlanEntry<'a>>> {
    vec![
        Column::integer(
            "fractions_planned",
            "",
            "fractions planned, all fraction groups together",
            |r| r.measured.case.plan.as_ref()?.fractions().map(i64::from),
        ),
        Column::integer("n_beams", "", "beams, or shots of a multi-source unit", |r| {
            count(r.measured.case.plan.as_ref()?.beams.len())
        }),
        Column::integer("n_isocentres", "", "distinct isocentres of the treatment beams", |r| {
            count(isocentres(r.measured.case.plan.as_ref()?))
        }),
        Column::real("meterset_mu", "MU", METERSET, |r| {
            planned_meterset(r.measured.case.plan.as_ref()?, "MU")
        }),
        Column::real("meterset_min", "min", METERSET, |r| {
            planned_meterset(r.measured.case.plan.as_ref()?, "MINUTE")
        }),
        Column::text("fixation", "Fixation Device Types of the patient setups", |r| {
            joined(r.measured.case.plan.as_ref()?.fixation.iter().map(String::as_str))
        }),
        Column::real(
            "prescription_dose_gy",
            "Gy",
            "prescribed dose, all fractions together; the highest where targets differ",
            |r| r.prescription.map(|p| p.dose.value()),
        ),
        Column::word(
            "prescription_basis",
            "where the prescribed dose comes from",
            PrescriptionBasis::VARIANTS,
            |r| r.prescription.and_then(|p| borrowed(p.basis.word())),
        ),
    ]
}

fn delivery(row: &PlanEntry<'_>) -> Option<Delivery> {
    row.measured.case.treatment.delivery
}

fn treatment_columns<'a>() -> Vec<Column<PlanEntry<'a>>> {
    vec![
        Column::word(
            "plan_role",
            "whether the plan was treated, replaced, not treated, or is one of quality assurance",
            PlanRole::VARIANTS,
            |r| borrowed(r.measured.case.role().word()),
        ),
        Column::word(
            "plan_role_rule",
            "the rule by which that is known",
            RoleReason::VARIANTS,
            |r| borrowed(r.measured.case.treatment.reason.word()),
        ),
        Column::text("plan_role_reason", "the same in words; missing without a plan", |r| {
            let words = r.measured.case.treatment.reason.words();
            borrowed(words).filter(|_| !words.is_empty())
        }),
        Column::boolean(
            "in_study",
            "whether the plan counts: measured, and treated or nothing speaks against that; \
             Table 1, relations, values of patients and pages take these plans alone",
            |r| Some(r.measured.is_in_study()),
        ),
        Column::integer(
            "fractions_delivered",
            "",
            "fractions delivered whole; missing without treatment records",
            |r| delivery(r)?.fractions.map(i64::from),
        ),
        Column::integer("day_first_fraction", "d", "first day of treatment, see day_plan", |r| {
            delivery(r)?.first_day.map(|d| d.0)
        }),
        Column::integer("day_last_fraction", "d", "last day of treatment, see day_plan", |r| {
            delivery(r)?.last_day.map(|d| d.0)
        }),
        Column::word(
            "delivery_source",
            "which kind of treatment record tells of the delivery",
            DeliverySource::VARIANTS,
            |r| delivery(r).and_then(|d| borrowed(d.source.word())),
        ),
    ]
}

fn course_columns<'a>() -> Vec<Column<PlanEntry<'a>>> {
    vec![
        Column::integer("course", "", "number of the course, counted by time", |r| {
            count(r.course?.number)
        }),
        Column::integer("n_courses", "", "courses of the patient in the archive", |r| {
            count(r.course?.of)
        }),
        Column::integer("days_since_course", "d", "days from the course before to this one", |r| {
            r.course?.days_since_previous
        }),
        Column::word(
            "date_source",
            "whether the course was dated by treatment records or by the date of the plan",
            DateSource::VARIANTS,
            |r| r.course.and_then(|course| borrowed(course.date_source.word())),
        ),
    ]
}

fn link_columns<'a>() -> Vec<Column<PlanEntry<'a>>> {
    vec![
        Column::text("dose_id", "SOP instances of the measured dose, as pseudonyms", |r| {
            let doses = r.measured.case.all_doses().collect::<Vec<_>>();
            joined(doses.into_iter().map(|d| d.origin.object.as_str()))
        }),
        Column::text("dose_source", "how the measured dose comes from stored grids", |r| {
            let words = &r.measured.case.dose_source.words;
            borrowed(words).filter(|_| !words.is_empty())
        }),
        Column::text(
            "structure_set_id",
            "SOP instance of the structure set, as a pseudonym",
            |r| {
                r.measured
                    .case
                    .structure_set
                    .as_ref()
                    .and_then(|s| borrowed(s.origin.object.as_str()))
            },
        ),
        Column::word(
            "dose_link",
            "how the dose was found to belong to the plan",
            LinkMethod::VARIANTS,
            |r| borrowed(r.measured.case.dose_link.word()),
        ),
        Column::word(
            "structure_link",
            "how the structure set was found to belong to the plan",
            LinkMethod::VARIANTS,
            |r| borrowed(r.measured.case.structure_link.word()),
        ),
        Column::word(
            "frame_link",
            "how structures and dose came into one frame of reference",
            FrameLink::VARIANTS,
            |r| borrowed(r.measured.case.frames.link.word()),
        ),
        Column::integer("n_doses_seen", "", "doses that refer to the plan, used or not", |r| {
            count(r.measured.case.doses_seen)
        }),
    ]
}

fn dose_columns<'a>() -> Vec<Column<PlanEntry<'a>>> {
    vec![
        Column::word("dose_units", "Dose Units (3004,0002)", &["GY", "RELATIVE"], |r| {
            let dose = r.measured.case.dose.as_ref()?;
            borrowed(if dose.units == DoseUnits::Gray { "GY" } else { "RELATIVE" })
        }),
        Column::word(
            "dose_type",
            "Dose Type (3004,0004)",
            &["PHYSICAL", "EFFECTIVE", "ERROR"],
            |r| {
                borrowed(match r.measured.case.dose.as_ref()?.kind {
                    DoseType::Physical => "PHYSICAL",
                    DoseType::Effective => "EFFECTIVE",
                    DoseType::Error => "ERROR",
                })
            },
        ),
        Column::text("dose_summation", "Dose Summation Type (3004,000A)", |r| {
            r.measured.case.dose.as_ref().and_then(|d| borrowed(d.summation.term()))
        }),
        Column::integer("dose_bits", "", "Bits Allocated (0028,0100)", |r| {
            r.measured.case.dose.as_ref()?.bits.map(i64::from)
        }),
        Column::real(
            "dose_step_gy",
            "Gy",
            "smallest difference of dose that the file can store",
            |r| {
                let header = r.measured.case.dose.as_ref().and_then(|d| d.step).map(|s| s.value());
                r.measured.analysis.and_then(|a| a.dose).map(|d| d.step_gy).or(header)
            },
        ),
        Column::real("dose_max_gy", "Gy", "largest voxel dose; missing when not measured", |r| {
            r.measured.analysis?.dose.map(|d| d.maximum_gy)
        }),
        Column::real("grid_plane_mm", "mm", "spacing of the dose grid across planes", |r| {
            grid_spacing(r).map(|s| s[0])
        }),
        Column::real("grid_row_mm", "mm", "spacing of the dose grid between rows", |r| {
            grid_spacing(r).map(|s| s[1])
        }),
        Column::real("grid_column_mm", "mm", "spacing of the dose grid between columns", |r| {
            grid_spacing(r).map(|s| s[2])
        }),
        Column::text(
            "image_modality",
            "modality of the images on which structures were drawn; missing with several series",
            |r| r.image.and_then(|i| borrowed(&i.modality)),
        ),
        Column::real(
            "image_spacing_mm",
            "mm",
            "distance between the slices of these images",
            |r| r.image?.spacing.map(|s| s.value()),
        ),
    ]
}

/// Spacing across planes, between rows and between columns: as measured, else as in the header.
fn grid_spacing(row: &PlanEntry<'_>) -> Option<[f64; 3]> {
    let measured = row.measured.analysis.and_then(|a| a.dose).map(|d| d.spacing_mm);
    measured.or_else(|| {
        let grid = row.measured.case.dose.as_ref()?.grid.as_ref()?;
        let [rows, columns] = grid.spacing_mm();
        Some([grid.plane_spacing_mm(), rows, columns])
    })
}

fn outcome_columns<'a>() -> Vec<Column<PlanEntry<'a>>> {
    vec![
        Column::integer(
            "n_findings_stop",
            "",
            "findings of this case because of which something was not computed",
            |r| count(r.stops),
        ),
        Column::integer("n_findings_check", "", "findings of this case to look at", |r| {
            count(r.checks)
        }),
        Column::boolean("measured", "whether its metrics were computed in this run", |r| {
            Some(r.measured.is_measured())
        }),
        Column::text(
            "exclusion_code",
            "code of the finding because of which the plan is not measured",
            |r| {
                let (code, _) = r.measured.case.left_out.as_ref()?;
                borrowed(code.definition().id)
            },
        ),
        Column::text("exclusion_reason", "the reason in words; missing when measured", |r| {
            r.measured.gap().map(Cow::Borrowed)
        }),
        Column::text("program_version", "version of the program that wrote the row", |_| {
            borrowed(env!("CARGO_PKG_VERSION"))
        }),
        Column::text("settings_digest", "SHA-256 of the settings, see run.json", |r| {
            borrowed(r.settings_digest)
        }),
    ]
}

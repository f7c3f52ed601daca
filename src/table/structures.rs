//! Table `structures`: one row per structure of a case, under its original and its standard name,
//! with its shape and volume.

use std::borrow::Cow;
use std::collections::BTreeSet;

use strum::VariantNames;

use super::column::{Column, Sheet, borrowed, count};
use super::structure_names::{shown_name, structure_id};
use super::study::{Measured, Study};
use super::table::Table;
use tidydose_analyse::StructureResult;
use tidydose_case::{NameBasis, NamedRoi, PrescriptionBasis, Role};
use tidydose_metrics::Status;
use tidydose_rt::RoiHeader;

pub(super) const TABLE: Table = Table {
    name: "structures",
    grain: "one structure (ROI) of a case",
    key: &["plan_id", "roi_number"],
    by_case: true,
    sheet,
};

fn name_states() -> [&'static str; 3] {
    [Status::Ok, Status::Unmapped, Status::Ambiguous].map(Status::word)
}

const fn name_status(basis: NameBasis) -> Status {
    match basis {
        NameBasis::User | NameBasis::Exact | NameBasis::Rule => Status::Ok,
        NameBasis::Ambiguous => Status::Ambiguous,
        NameBasis::None => Status::Unmapped,
    }
}

struct StructureEntry<'a> {
    measured: Measured<'a>,
    id: String,
    number: i64,
    name: Option<&'a NamedRoi>,
    header: Option<&'a RoiHeader>,
    result: Option<&'a StructureResult>,
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let rows = study.measured().into_iter().flat_map(rows_of_case).collect();
    let mut columns = name_columns();
    columns.extend(shape_columns());
    columns.extend(volume_columns());
    Sheet::new(columns, rows)
}

/// Every ROI Number that the structure set lists, that has a name or that was measured.
fn rows_of_case(measured: Measured<'_>) -> Vec<StructureEntry<'_>> {
    let listed: &[RoiHeader] = measured.case.structure_set.as_ref().map_or(&[], |s| &s.rois);
    let results: &[StructureResult] = measured.analysis.map_or(&[], |a| &a.structures);
    let mut numbers: BTreeSet<i64> = listed.iter().map(|r| r.number).collect();
    numbers.extend(measured.case.names.iter().map(|n| n.number));
    numbers.extend(results.iter().map(|r| r.roi_number));
    let row = |number| StructureEntry {
        measured,
        id: structure_id(measured.case, number),
        number,
        name: measured.name(number),
        header: listed.iter().find(|r| r.number == number),
        result: results.iter().find(|r| r.roi_number == number),
    };
    numbers.into_iter().map(row).collect()
}

fn name_columns<'a>() -> Vec<Column<StructureEntry<'a>>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r| {
            r.measured.patient().map(Cow::Borrowed)
        }),
        Column::text(
            "plan_id",
            "the plan, as in table plans (where there is none, its dose or structure set)",
            |r| borrowed(r.measured.case.id.as_str()),
        ),
        Column::text("structure_id", "plan_id and ROI Number", |r| borrowed(&r.id)),
        Column::integer("roi_number", "", "ROI Number (3006,0022)", |r| Some(r.number)),
        Column::text("structure", "standard name (TG-263), else the original name", |r| {
            r.name.and_then(|n| borrowed(shown_name(n)))
        }),
        Column::text("name_original", "ROI Name (3006,0026) as in the file", |r| {
            let header = r.header.map(|h| h.name.as_str());
            r.name.map(|n| n.original.as_str()).or(header).map(Cow::Borrowed)
        }),
        Column::text("name_standard", "standard name (TG-263); missing when undecided", |r| {
            r.name?.standard.as_deref().map(Cow::Borrowed)
        }),
        Column::word("name_basis", "how the standard name came about", NameBasis::VARIANTS, |r| {
            r.name.and_then(|n| borrowed(n.basis.word()))
        }),
        Column::word("name_status", "whether the name is decided", &name_states(), |r| {
            r.name.and_then(|n| borrowed(name_status(n.basis).word()))
        }),
        Column::text(
            "may_be",
            "of an undecided name the organs that its words allow, standard names without side; \
             any where the words say nothing; missing when the name is decided or is no organ's",
            |r| {
                let words = r.name?.possible_organs()?.words();
                (!words.is_empty()).then_some(Cow::Owned(words))
            },
        ),
        Column::word("role", "what the structure is for", Role::VARIANTS, |r| {
            r.name.and_then(|n| borrowed(n.role.word()))
        }),
        Column::text("interpreted_type", "RT ROI Interpreted Type (3006,00A4)", |r| {
            r.header?.interpreted_type.as_deref().map(Cow::Borrowed)
        }),
        Column::text("generation_algorithm", "ROI Generation Algorithm (3006,0036)", |r| {
            r.header?.generation_algorithm.as_deref().map(Cow::Borrowed)
        }),
    ]
}

fn shape_columns<'a>() -> Vec<Column<StructureEntry<'a>>> {
    vec![
        Column::integer("n_contours", "", "contours in the file, of any type", |r| {
            count(r.header?.contours)
        }),
        Column::integer("n_contours_closed", "", "contours used for the volume", |r| {
            count(r.result?.closed_contours)
        }),
        Column::integer("n_planes", "", "distinct contour planes", |r| count(r.result?.planes)),
        Column::integer("n_holes", "", "contours read as holes, over all planes", |r| {
            count(r.result?.holes)
        }),
        Column::real("plane_spacing_mm", "mm", "median distance between contour planes", |r| {
            r.result?.plane_spacing_mm
        }),
        Column::real("plane_gap_max_mm", "mm", "largest distance between planes", |r| {
            r.result?.plane_gap_max_mm
        }),
        Column::real(
            "outline_pixel_mm",
            "mm",
            "edge length of the pixels that the outlines were traced around, told from their \
             points; missing where they were not",
            |r| r.result?.pixel_mm,
        ),
        Column::real("centroid_x_mm", "mm", "centre of mass, towards the patient's left", |r| {
            r.result?.centroid_mm.map(|c| c[0])
        }),
        Column::real("centroid_y_mm", "mm", "centre of mass, towards the back", |r| {
            r.result?.centroid_mm.map(|c| c[1])
        }),
        Column::real("centroid_z_mm", "mm", "centre of mass, towards the head", |r| {
            r.result?.centroid_mm.map(|c| c[2])
        }),
        Column::real("inside_grid_percent", "%", "share of the volume in the dose grid", |r| {
            r.result?.inside_grid_percent
        }),
    ]
}

fn volume_columns<'a>() -> Vec<Column<StructureEntry<'a>>> {
    vec![
        Column::real("volume_cc", "cc", "volume as measured; missing: see volume_status", |r| {
            r.result?.volume.value
        }),
        Column::real("volume_low_cc", "cc", "lower numerical bound of the volume", |r| {
            r.result?.volume.low
        }),
        Column::real("volume_high_cc", "cc", "upper numerical bound of the volume", |r| {
            r.result?.volume.high
        }),
        Column::word("volume_status", "why there is or is not a volume", Status::VARIANTS, |r| {
            borrowed(r.result.map_or(Status::Excluded, |s| s.volume.status).word())
        }),
        Column::text(
            "volume_reason",
            "why the status is not ok, in words; missing when it is",
            |r| {
                let computed = r.result.map(|s| s.volume.reason.as_str());
                computed.or(r.measured.gap()).filter(|t| !t.is_empty()).map(Cow::Borrowed)
            },
        ),
        Column::real("volume_in_file_cc", "cc", "ROI Volume (3006,002C) as exported", |r| {
            r.header?.stated_volume.map(|v| v.value())
        }),
        Column::real("prescription_dose_gy", "Gy", "dose prescribed to it, all fractions", |r| {
            prescription(r).map(|(dose_gy, _)| dose_gy)
        }),
        Column::word(
            "prescription_basis",
            "where the prescribed dose comes from",
            PrescriptionBasis::VARIANTS,
            |r| prescription(r).map(|(_, basis)| Cow::Borrowed(basis)),
        ),
    ]
}

/// As the analysis used it, else as the case has it.
fn prescription(row: &StructureEntry<'_>) -> Option<(f64, &'static str)> {
    let used = row.result.and_then(|r| r.prescription);
    used.or_else(|| {
        let list = &row.measured.case.prescriptions;
        let found = list.iter().find(|p| p.roi_number == row.number)?;
        Some((found.dose.value(), found.basis.word()))
    })
}
